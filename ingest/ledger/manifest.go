package ledger

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// version of the ledger's layout and of how files are read: raise it and every
// ledger is read anew.
const version = 5

const manifestName = "manifest.json"

// manifest says what the ledger holds. It is written last and at once: what it
// does not name is not there.
type manifest struct {
	Version    int           `json:"version"`
	Updates    int           `json:"updates"`
	NextSource int32         `json:"next_source"`
	Buckets    int           `json:"buckets"`
	Files      []fileEntry   `json:"files"`  // by path
	Bucket     []bucketEntry `json:"bucket"` // by number; a bucket without rows has no name
	Gone       []goneEntry   `json:"gone,omitempty"`
}

// fileEntry is one file that was read.
type fileEntry struct {
	Path       string            `json:"path"`
	Source     int32             `json:"source"`
	Size       int64             `json:"size"`
	ModTime    int64             `json:"mod_time_ns"`
	ChangeTime int64             `json:"change_time_ns,omitempty"` // of the content or of the file's name and rights; 0: the system has none
	Digest     string            `json:"sha256"`
	Sample     string            `json:"sample_sha256,omitempty"`
	Failed     string            `json:"failed,omitempty"` // why it could not be read; it is tried again each time
	Mapping    string            `json:"mapping_sha256"`
	Format     string            `json:"format"`
	Rows       Rows              `json:"rows"`
	Rejects    []ingest.Reject   `json:"rejects,omitempty"`
	Notes      []string          `json:"notes,omitempty"`
	Counters   [4]counterEntry   `json:"counters"`
	Zones      map[string]string `json:"zones,omitempty"` // of the sites whose own clock its stamps are on
}

// counterEntry is what turning a counter, or a power without a length, into
// energy needs.
type counterEntry struct {
	Counter   bool  `json:"counter,omitempty"`
	Power     bool  `json:"power,omitempty"` // a row without a length still holds milli-W
	RollOver  int64 `json:"roll_over_milliwh,omitempty"`
	SpreadGap int64 `json:"spread_gap_s,omitempty"`
}

// bucketEntry is one bucket's file.
type bucketEntry struct {
	Name    string   `json:"name,omitempty"`
	Size    int64    `json:"size,omitempty"`
	Digest  string   `json:"sha256,omitempty"`
	Sites   []string `json:"sites,omitempty"`
	Sources []int32  `json:"sources,omitempty"`
}

func ledgerDir(dir string) string { return filepath.Join(dir, ".rowen", "ledger") }

// envelope is the manifest as it lies on disk, with its own digest.
type envelope struct {
	Digest   string          `json:"sha256"`
	Manifest json.RawMessage `json:"manifest"`
}

// readManifest gives the manifest of a ledger, or an empty one where there is
// none or where it is of another version. errDamaged: an empty one, for what is
// there cannot be trusted.
func readManifest(d disk, dir string) (*manifest, error) {
	b, err := d.readFile(filepath.Join(dir, manifestName))
	if os.IsNotExist(err) {
		return &manifest{}, nil
	}
	if err != nil {
		return nil, err
	}
	var e envelope
	var m manifest
	if json.Unmarshal(b, &e) != nil || e.Digest == "" {
		// Earlier versions had no envelope.
		if json.Unmarshal(b, &m) == nil && m.Version > 0 && m.Version < version {
			return &manifest{}, nil
		}
		return &manifest{}, errDamaged
	}
	if digestOf(e.Manifest) != e.Digest || json.Unmarshal(e.Manifest, &m) != nil {
		return &manifest{}, errDamaged
	}
	if m.Version != version {
		return &manifest{}, nil
	}
	return &m, nil
}

// publish writes the manifest: temporary file, sync, rename, sync of the
// folder.
func (m *manifest) publish(d disk, dir string) error {
	b, err := json.Marshal(m)
	if err == nil {
		b, err = json.Marshal(envelope{digestOf(b), b})
	}
	if err != nil {
		return err
	}
	temp := filepath.Join(dir, manifestName+".new")
	if err := d.write(temp, func(f *os.File) error { _, err := f.Write(b); return err }); err != nil {
		return err
	}
	if err := d.syncDir(dir); err != nil {
		return err
	}
	if err := d.rename(temp, filepath.Join(dir, manifestName)); err != nil {
		return err
	}
	return d.syncDir(dir)
}

// sweep removes the files that the manifest does not name, unless somebody
// still reads an older ledger.
func (m *manifest) sweep(d disk, dir string) error {
	free, err := lockAlone(filepath.Join(dir, readersName))
	if err != nil {
		return nil // the last reader's next update will do it
	}
	defer free()
	named := map[string]bool{manifestName: true, lockName: true, readersName: true, rememberedName: true}
	for _, k := range m.Bucket {
		named[k.Name] = true
	}
	names, err := list(dir)
	if err != nil {
		return err
	}
	for _, n := range names {
		if !named[n] {
			if err := d.remove(filepath.Join(dir, n)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (m *manifest) find(path string) *fileEntry {
	i, ok := slices.BinarySearchFunc(m.Files, path, func(e fileEntry, p string) int { return strings.Compare(e.Path, p) })
	if !ok {
		return nil
	}
	return &m.Files[i]
}

// ranks orders the sources by their files' names, numbers in them as numbers:
// of two files that tell the same hour, the later name is the later export.
func (m *manifest) ranks() map[int32]int {
	files := slices.Clone(m.Files)
	slices.SortFunc(files, func(a, b fileEntry) int { return naturalCompare(a.Path, b.Path) })
	rank := make(map[int32]int, len(files))
	for i, f := range files {
		rank[f.Source] = i
	}
	return rank
}

// naturalCompare compares names with the runs of digits in them as numbers.
func naturalCompare(a, b string) int {
	x, y := a, b
	for x != "" && y != "" {
		dx, dy := digitRun(x), digitRun(y)
		if dx > 0 && dy > 0 {
			nx, ny := strings.TrimLeft(x[:dx], "0"), strings.TrimLeft(y[:dy], "0")
			if len(nx) != len(ny) {
				return len(nx) - len(ny)
			}
			if c := strings.Compare(nx, ny); c != 0 {
				return c
			}
			x, y = x[dx:], y[dy:]
			continue
		}
		if x[0] != y[0] {
			return int(x[0]) - int(y[0])
		}
		x, y = x[1:], y[1:]
	}
	if len(x) != len(y) {
		return len(x) - len(y)
	}
	return strings.Compare(a, b)
}

func digitRun(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}

func counters(m *readings.Meaning) (out [4]counterEntry) {
	for c := range out {
		switch m.Quantity[c] {
		case readings.Counter:
			out[c] = counterEntry{Counter: true, RollOver: m.RollOver[c], SpreadGap: m.SpreadGap[c]}
		case readings.Power:
			out[c] = counterEntry{Power: true}
		}
	}
	return out
}

func plural(n int64, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
