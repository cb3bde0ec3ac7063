package demo

// WriteOptions say how the readings are cut into files.
type WriteOptions struct {
	SitesPerFile int // 0: 12
	Workers      int // 0: one a core
}

// Write writes the contract's folder.
func (m *Made) Write(dir string, o WriteOptions) error { panic("demo: not built yet") }
