package config

// Key is one setting, for the data dictionary.
type Key struct {
	Name    string // dotted; a list's entries as readings[].glob
	Type    string // text, number, whole number, list of numbers
	Unit    string
	Default string
	Limit   string
	Text    string
}

// Keys lists every setting in the order of Settings.
func Keys() []Key { return nil }
