package ledger

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// found is one file under the fleet's folder, or what stands in its place.
type found struct {
	path   string // relative to the fleet's folder, with slashes
	reason string // why it cannot be read; "": a regular file
	folder bool   // a folder that could not be looked into
}

// finder lists the regular files under some folders of a fleet. A link is
// followed once, and only inside the fleet's folder; whatever is not a regular
// file is that file's own problem. Names that begin with a dot are left alone.
type finder struct {
	disk  disk
	root  string // the fleet's folder, without links
	seen  map[string]bool
	links []string // to be followed once all else is known
	found []found
}

func newFinder(d disk, root string) (*finder, error) {
	abs, err := filepath.Abs(root)
	if err != nil {
		return nil, err
	}
	if abs, err = filepath.EvalSymlinks(abs); err != nil {
		return nil, err
	}
	return &finder{disk: d, root: abs, seen: map[string]bool{}}, nil
}

func (f *finder) real(rel string) string { return filepath.Join(f.root, filepath.FromSlash(rel)) }

// folder lists what a folder holds; none where it is not there.
func (f *finder) folder(rel string) {
	real, err := filepath.EvalSymlinks(f.real(rel))
	if errors.Is(err, fs.ErrNotExist) || err == nil && f.seen[real] {
		return
	}
	f.seen[real] = true
	f.walk(rel)
}

func (f *finder) walk(rel string) {
	entries, err := f.disk.readDir(f.real(rel))
	if err != nil {
		f.found = append(f.found, found{path: rel, reason: "the folder cannot be read: " + withoutPath(err), folder: true})
		return
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			continue
		}
		f.entry(strings.TrimPrefix(rel+"/"+e.Name(), "/"), e.Type())
	}
}

func (f *finder) entry(rel string, kind fs.FileMode) {
	switch {
	case kind&fs.ModeSymlink != 0:
		f.links = append(f.links, rel)
		return
	case kind.IsDir():
		f.folder(rel)
		return
	}
	real, err := filepath.EvalSymlinks(f.real(rel)) // of a file in a folder that a link led to
	if err == nil && f.seen[real] {
		return
	}
	f.seen[real] = true
	f.found = append(f.found, found{path: rel, reason: notRegular(kind)})
}

// follow follows the links that were met, and those that they lead to.
func (f *finder) follow() {
	for len(f.links) > 0 {
		rel := f.links[0]
		f.links = f.links[1:]
		real, err := filepath.EvalSymlinks(f.real(rel))
		if err != nil {
			f.found = append(f.found, found{path: rel, reason: "the link leads nowhere, or in a circle"})
			continue
		}
		if real != f.root && !strings.HasPrefix(real, f.root+string(filepath.Separator)) {
			f.found = append(f.found, found{path: rel, reason: "the link leads out of the fleet's folder: copy the file into it"})
			continue
		}
		if f.seen[real] {
			continue // what it leads to is read by its own name
		}
		info, err := os.Stat(real)
		if err != nil {
			f.found = append(f.found, found{path: rel, reason: withoutPath(err)})
			continue
		}
		f.entry(rel, info.Mode().Type())
	}
}

// notRegular says what stands in a file's place.
func notRegular(kind fs.FileMode) string {
	switch {
	case kind.IsRegular():
		return ""
	case kind&fs.ModeNamedPipe != 0:
		return "it is a pipe and no regular file"
	case kind&fs.ModeSocket != 0:
		return "it is a socket and no regular file"
	case kind&fs.ModeDevice != 0:
		return "it is a device and no regular file"
	}
	return "it is no regular file"
}
