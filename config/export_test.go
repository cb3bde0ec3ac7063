package config

// Default gives the settings of a fleet that sets nothing.
func Default() Settings {
	s, err := parse(nil, nil, nil)
	if err != nil {
		panic(err) // a default breaks its own limit: TestDefaultsPass
	}
	return s
}
