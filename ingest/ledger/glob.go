package ledger

import (
	"path"
	"strings"
)

// matches tells whether a path matches a glob in which ** spans folders. A
// packed file (.gz, .zst, .zip) also matches by its name without that ending.
func matches(glob, name string) bool {
	for {
		if globMatch(strings.Split(glob, "/"), strings.Split(name, "/")) {
			return true
		}
		ext := strings.ToLower(path.Ext(name))
		if ext != ".gz" && ext != ".zst" && ext != ".zip" {
			return false
		}
		name = name[:len(name)-len(ext)]
	}
}

func globMatch(pattern, name []string) bool {
	for len(pattern) > 0 {
		if pattern[0] == "**" {
			for i := 0; i <= len(name); i++ {
				if globMatch(pattern[1:], name[i:]) {
					return true
				}
			}
			return false
		}
		if len(name) == 0 {
			return false
		}
		if ok, err := path.Match(pattern[0], name[0]); err != nil || !ok {
			return false
		}
		pattern, name = pattern[1:], name[1:]
	}
	return len(name) == 0
}

// fixedFolder is the part of a glob before its first wildcard.
func fixedFolder(glob string) string {
	parts := strings.Split(glob, "/")
	for i, p := range parts {
		if strings.ContainsAny(p, `*?[\`) || i == len(parts)-1 {
			return strings.Join(parts[:i], "/")
		}
	}
	return ""
}
