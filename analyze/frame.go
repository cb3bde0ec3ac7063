package analyze

import (
	"path/filepath"
	"regexp"
)

var ownFrame = regexp.MustCompile(`(?m)^\s+(\S*/(?:analyze|ingest)/\S+\.go:\d+)`)

// firstOwnFrame names the deepest line of the project's own code on a stack,
// for the note of a site that failed. The frames of this package's guard come
// first on the stack and are passed over.
func firstOwnFrame(stack []byte) string {
	for _, m := range ownFrame.FindAllSubmatch(stack, -1) {
		if name := filepath.Base(string(m[1])); !isGuard(name) {
			return name
		}
	}
	return "place not known"
}

func isGuard(name string) bool {
	return len(name) >= 7 && (name[:7] == "pool.go" || name[:7] == "frame.g")
}
