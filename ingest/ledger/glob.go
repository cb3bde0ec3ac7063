package ledger

import (
	"path"
	"strings"

	"github.com/bmatcuk/doublestar/v4"
)

// matches tells whether a path matches a glob in which ** spans folders and
// {a,b} is either. A packed file (.gz, .zst, .zip) also matches by its name
// without that ending.
func matches(glob, name string) bool {
	for {
		if doublestar.MatchUnvalidated(glob, name) {
			return true
		}
		ext := strings.ToLower(path.Ext(name))
		if ext != ".gz" && ext != ".zst" && ext != ".zip" {
			return false
		}
		name = name[:len(name)-len(ext)]
	}
}

// fixedFolder is the part of a glob before its first wildcard.
func fixedFolder(glob string) string {
	base, _ := doublestar.SplitPattern(glob)
	if base == "." {
		return ""
	}
	return base
}
