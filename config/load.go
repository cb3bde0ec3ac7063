package config

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path/filepath"
	"reflect"
	"rowen/ingest/regular"
	"slices"
	"strings"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/viper"
)

// FileName is the settings file in a fleet's folder.
const FileName = "rowen.yaml"

// EnvPrefix begins the environment's settings: ROWEN_MONEY_HORIZON_YEARS is
// money.horizon_years.
const EnvPrefix = "ROWEN_"

// Load reads the settings of a fleet's folder: flags over ROWEN_* environment
// over rowen.yaml over defaults.
//
// In:      flags by key ("workers": "4"), only those that were given; environ
// as os.Environ gives it. Nothing else is looked at.
// Out:     Settings with every default filled and every limit kept.
// Refuses: an *Error with all violations at once; an unknown key names the
// nearest known one.
// Edges:   without a rowen.yaml the defaults stand; a key without a value, and
// an empty environment variable, are as if they were absent.
func Load(fleetDir string, flags map[string]string, environ []string) (Settings, error) {
	text, err := regular.ReadFile(filepath.Join(fleetDir, FileName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return Settings{}, fmt.Errorf("reading the settings: %w", err)
	}
	return parse(text, flags, environ)
}

func parse(text []byte, flags map[string]string, environ []string) (Settings, error) {
	r := &reader{file: FileName, where: map[string]string{}}
	v := viper.New()
	setDefaults(v, "", root)
	layers := []func() error{
		func() error { return v.MergeConfigMap(r.read(text)) },
		func() error { return v.MergeConfigMap(r.environment(environ)) },
	}
	for _, merge := range layers {
		if err := merge(); err != nil {
			return Settings{}, fmt.Errorf("merging the settings: %w", err)
		}
	}
	for key, value := range r.flags(flags) {
		v.Set(key, value)
	}

	var s Settings
	if err := v.UnmarshalExact(&s, func(c *mapstructure.DecoderConfig) {
		c.TagName, c.WeaklyTypedInput, c.DecodeHook = "key", false, nil
	}); err != nil {
		return Settings{}, fmt.Errorf("reading the settings: %w", err)
	}
	for i := range s.Readings {
		fillMapping(&s.Readings[i])
	}
	r.check("", root, reflect.ValueOf(s))
	r.checkMoney(s.Money)
	r.checkMappings(s.Readings)
	if len(r.violations) > 0 {
		return Settings{}, &Error{r.violations}
	}
	for i := range s.Readings {
		if d := &s.Readings[i].Delimiter; *d == "tab" {
			*d = "\t"
		}
	}
	return s, nil
}

func setDefaults(v *viper.Viper, prefix string, n *node) {
	for _, c := range n.children {
		switch key := join(prefix, c.name); c.kind {
		case group:
			setDefaults(v, key, c)
		case leaf:
			if def, ok := c.defaultValue(); ok {
				v.SetDefault(key, def)
			}
		}
	}
}

func (n *node) defaultValue() (any, bool) {
	if n.def == "" {
		return nil, false
	}
	v, err := n.parse(n.def)
	if err != nil {
		panic(fmt.Sprintf("default %q of a setting: %v", n.def, err)) // a mistake in settings.go; Default is tested
	}
	return v, true
}

// environment gives the good settings of the ROWEN_* variables.
func (r *reader) environment(environ []string) map[string]any {
	names := map[string]string{} // MONEY_HORIZON_YEARS to money.horizon_years
	var known []string
	for _, k := range Keys() {
		env := EnvPrefix + strings.ToUpper(strings.ReplaceAll(k.Name, ".", "_"))
		names[env] = k.Name
		known = append(known, env)
	}
	sorted := slices.Sorted(slices.Values(environ))
	out := map[string]any{}
	for _, e := range sorted {
		env, value, _ := strings.Cut(e, "=")
		if !strings.HasPrefix(env, EnvPrefix) || value == "" {
			continue
		}
		n := root.find(names[env])
		if n == nil {
			limit, mend := unknown(env, known)
			if env == EnvPrefix+"READINGS" {
				mend = "set it in " + FileName
			}
			r.violations = append(r.violations, Violation{Where: env, Limit: limit, Mend: mend})
			continue
		}
		if v, ok := r.text(env, names[env], n, value); ok {
			put(out, names[env], v)
		}
	}
	return out
}

// flags gives the good settings of the command line.
func (r *reader) flags(flags map[string]string) map[string]any {
	out := map[string]any{}
	for _, key := range slices.Sorted(maps.Keys(flags)) {
		where := "--" + key
		if strings.Contains(key, ".") {
			where = "--set " + key
		}
		n := root.find(key)
		if n == nil {
			limit, mend := unknown(key, siblings("", root))
			r.violations = append(r.violations, Violation{Where: where, Limit: limit, Mend: mend})
			continue
		}
		if v, ok := r.text(where, key, n, flags[key]); ok {
			put(out, key, v)
		}
	}
	return out
}

// text parses a value that came as text.
func (r *reader) text(where, key string, n *node, value string) (any, bool) {
	v, err := n.parse(value)
	if err != nil {
		r.violations = append(r.violations, Violation{Where: where, Key: key, Value: value, Limit: err.Error(), Mend: n.mend()})
		return nil, false
	}
	r.where[key] = where
	return v, true
}

func put(m map[string]any, key string, v any) {
	for {
		head, rest, nested := strings.Cut(key, ".")
		if !nested {
			m[head] = v
			return
		}
		next, ok := m[head].(map[string]any)
		if !ok {
			next = map[string]any{}
			m[head] = next
		}
		m, key = next, rest
	}
}
