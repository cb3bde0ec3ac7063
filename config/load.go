package config

// Load reads the settings of a fleet's folder: flags over ROWEN_* environment
// over rowen.yaml over defaults.
//
// In:      flags by key ("workers": "4"), only those that were given; environ
// as os.Environ gives it. Nothing else is looked at.
// Out:     Settings with every default filled and every limit kept.
// Refuses: an *Error with all violations at once.
// Edges:   without a rowen.yaml the defaults stand; a key without a value is
// as if it were absent.
func Load(fleetDir string, flags map[string]string, environ []string) (Settings, error) {
	return Settings{}, nil
}
