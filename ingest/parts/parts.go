// Package parts keeps the parts of a job that many processes work on, each in a
// folder of its own below one work folder. A part appears whole or not at all: it is
// written beside and renamed. The first attempt at a part wins, whoever makes it;
// what attempts that were killed or came too late have left is swept. Folders and
// files are for their owner alone.
package parts

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/klauspost/compress/zstd"
)

// sealName is the file of a part that says what it belongs to and what its other
// files are: their SHA-256, size and name.
const sealName = "seal"

const sealHead = "rowen part 1"

// Folder is the work folder of one plan.
type Folder struct {
	Dir string
	Key string // what every part must belong to: a digest of the plan
}

// ID names a part: a stage of the job, and its shard.
type ID struct {
	Stage string
	Shard int
}

func (id ID) String() string { return fmt.Sprintf("%s-%05d", id.Stage, id.Shard) }

// Make makes a part in an empty folder, unless it is there already: then it does
// nothing and gives false.
func (f Folder) Make(id ID, write func(dir string) error) (made bool, err error) {
	if err := os.MkdirAll(f.Dir, 0o700); err != nil {
		return false, fmt.Errorf("making the work folder: %w", err)
	}
	final := f.path(id)
	if there, err := f.there(id); there || err != nil {
		return false, err
	}
	temp, err := os.MkdirTemp(f.Dir, f.attempts(id)) // 0700
	if err != nil {
		return false, fmt.Errorf("making part %s: %w", id, err)
	}
	defer os.RemoveAll(temp) // what another attempt has swept, or could not rename
	err = write(temp)
	if err == nil {
		err = f.seal(temp)
	}
	if err == nil {
		err = os.Rename(temp, final)
	}
	if err != nil {
		// Another attempt may have come first, and then swept this one.
		if there, thereErr := f.there(id); there && thereErr == nil {
			return false, nil
		}
		return false, fmt.Errorf("making part %s: %w", id, err)
	}
	return true, errors.Join(syncFolder(f.Dir), f.sweep(id))
}

// Open gives the folder of a part, its files as they were written.
func (f Folder) Open(id ID) (dir string, err error) {
	dir = f.path(id)
	if err := f.check(dir); errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("opening part %s: it is not in %s: run that stage first", id, f.Dir)
	} else if err != nil {
		return "", fmt.Errorf("opening part %s: %w", id, err)
	}
	return dir, nil
}

// Write makes a part of one file, which is packed: counts of days and hours without
// sun are mostly zeros.
func (f Folder) Write(id ID, make func() ([]byte, error)) (made bool, err error) {
	return f.Make(id, func(dir string) error {
		b, err := make()
		if err != nil {
			return err
		}
		pack, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(dir, oneFile), pack.EncodeAll(b, nil), 0o600)
	})
}

const oneFile = "part.zst"

// Read gives the bytes of a part of one file.
func (f Folder) Read(id ID) ([]byte, error) {
	dir, err := f.Open(id)
	if err != nil {
		return nil, err
	}
	b, err := os.ReadFile(filepath.Join(dir, oneFile))
	if err != nil {
		return nil, fmt.Errorf("reading part %s: %w", id, err)
	}
	unpack, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(mostBytes))
	if err != nil {
		return nil, err
	}
	defer unpack.Close()
	if b, err = unpack.DecodeAll(b, nil); err != nil {
		return nil, fmt.Errorf("reading part %s: %w", id, err)
	}
	return b, nil
}

// mostBytes is what a part of one file may unpack to: its digest has been checked,
// so that only a part which this program wrote gets here.
const mostBytes = 1 << 40

func (f Folder) path(id ID) string { return filepath.Join(f.Dir, id.String()) }

// attempts is the pattern of the folders in which a part is written.
func (f Folder) attempts(id ID) string { return "." + id.String() + ".attempt-*" }

// there tells whether a part has been made; what lies in its place and cannot be
// used is an error. Whoever made it, attempts beside it have come too late.
func (f Folder) there(id ID) (bool, error) {
	err := f.check(f.path(id))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("part %s: %w", id, err)
	}
	return true, f.sweep(id)
}

// sweep removes what other attempts at a part that is there have left.
func (f Folder) sweep(id ID) error {
	left, err := filepath.Glob(filepath.Join(f.Dir, f.attempts(id)))
	for _, dir := range left {
		_ = os.RemoveAll(dir) // of an attempt that still runs what is open may stay: it removes it itself
	}
	return err
}

// seal writes down what a part's files are and brings them to disk.
func (f Folder) seal(dir string) error {
	lines := []string{sealHead, f.Key}
	entries, err := os.ReadDir(dir) // by name
	if err != nil {
		return err
	}
	for _, e := range entries {
		line, err := digest(dir, e.Name(), true)
		if err != nil {
			return err
		}
		lines = append(lines, line)
	}
	if err := os.WriteFile(filepath.Join(dir, sealName), []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		return err
	}
	_, err = digest(dir, sealName, true)
	return errors.Join(err, syncFolder(dir))
}

// check holds a part's files against its seal.
func (f Folder) check(dir string) error {
	if _, err := os.Stat(dir); err != nil {
		return err
	}
	b, err := os.ReadFile(filepath.Join(dir, sealName))
	lines := strings.Split(strings.TrimSuffix(string(b), "\n"), "\n")
	if err != nil || len(lines) < 2 || lines[0] != sealHead {
		return fmt.Errorf("%s is no part that this version wrote: delete it and run its stage again", dir)
	}
	if lines[1] != f.Key {
		return fmt.Errorf("%s belongs to another plan: give each plan a work folder of its own", dir)
	}
	for _, line := range lines[2:] {
		_, name, _ := strings.Cut(line, "  ")
		if is, err := digest(dir, name, false); err != nil || is != line {
			return fmt.Errorf("%s is not as it was written: delete %s and run its stage again", filepath.Join(dir, name), dir)
		}
	}
	return nil
}

// digest is a file's line of the seal; sync: it is brought to disk too.
func digest(dir, name string, sync bool) (string, error) {
	mode := os.O_RDONLY
	if sync {
		mode = os.O_RDWR // not every system syncs a file that is open to read
	}
	file, err := os.OpenFile(filepath.Join(dir, name), mode, 0)
	if err != nil {
		return "", err
	}
	defer file.Close()
	h := sha256.New()
	n, err := io.Copy(h, file)
	if err == nil && sync {
		err = file.Sync()
	}
	return fmt.Sprintf("%s %d  %s", hex.EncodeToString(h.Sum(nil)), n, name), err
}
