package visit

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// step makes a step; parts of it are joined as they come.
func step(code string, who Who, format string, a ...any) Step {
	return Step{Code: code, Who: who, Says: fmt.Sprintf(format, a...)}
}

// fill is a step beside which something is written down.
func fill(code string, who Who, blank, format string, a ...any) Step {
	st := step(code, who, format, a...)
	st.Fill = blank
	return st
}

func capital(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + text[n:]
}

// sentence ends with one full stop.
func sentence(text string) string {
	if text == "" || strings.HasSuffix(text, ".") {
		return capital(text)
	}
	return capital(text) + "."
}

// facing says where a plane looks, in the words of a compass.
func facing(azimuthDeg float64) string {
	names := []string{"north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest"}
	return names[int(math.Mod(azimuthDeg+360+22.5, 360)/45)%8]
}

// plane names a plane as people can find it: never by a name of the program's.
func (s *site) plane(id string) string {
	if room := s.room(id); room != nil {
		return fmt.Sprintf("plane %s (facing %s, tilt %.0f°)", id, facing(room.Plane.AzimuthDeg), room.Plane.TiltDeg)
	}
	return "the plane that today's modules lie on"
}

func num(x float64, digits int) string {
	text := fmt.Sprintf("%.*f", digits, x)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// many is a noun for a count.
func many(n int, one string) string {
	switch {
	case n == 1:
		return one
	case strings.HasSuffix(one, "ch"):
		return one + "es"
	}
	return one + "s"
}

func plural(n int, one string) string { return fmt.Sprint(n, " ", many(n, one)) }

// list joins words: a, b and c.
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

func unique(texts []string) []string {
	var out []string
	for _, t := range texts {
		if !slices.Contains(out, t) {
			out = append(out, t)
		}
	}
	return out
}

// csvCells joins cells; register values hold no comma or quote but may in odd
// cases, which RFC 4180 wraps.
func csvCells(cells ...string) string {
	for i, c := range cells {
		if strings.ContainsAny(c, ",\"\n") {
			cells[i] = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
		}
	}
	return strings.Join(cells, ",")
}

func orUnknown(text string) string {
	if text == "" {
		return "not known"
	}
	return text
}
