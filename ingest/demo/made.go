package demo

import "rowen/ingest"

// Made is a fleet made by Make. It is safe for concurrent use.
type Made struct{ opts Options }

// Make invents a fleet.
func Make(o Options) *Made { return &Made{opts: o} }

// Fleet is the register, as reading the written folder gives it.
func (m *Made) Fleet() *ingest.Fleet { panic("demo: not built yet") }

// Source hands out the readings, made on demand.
func (m *Made) Source() ingest.Source { panic("demo: not built yet") }

// Truth is what is so about a site.
func (m *Made) Truth(siteID string) Truth { panic("demo: not built yet") }

// CandidateTruth is the AC energy, Wh an hour, of one new module on a plane
// under the sky that the site really had.
func (m *Made) CandidateTruth(siteID, planeID string, moduleWatts, tempCoefficientPctPC, acWatts float64, start ingest.Hour, n int) []float64 {
	panic("demo: not built yet")
}

// WriteOptions say how the readings are cut into files.
type WriteOptions struct {
	SitesPerFile int // 0: 12
	Workers      int // 0: one a core
}

// Write writes the contract's folder.
func (m *Made) Write(dir string, o WriteOptions) error { panic("demo: not built yet") }
