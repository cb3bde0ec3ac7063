package ledger

import (
	"os"
	"syscall"
)

// changeTime is when a file's content, name or rights last changed. No program
// can set it back.
func changeTime(info os.FileInfo) int64 {
	if s, ok := info.Sys().(*syscall.Stat_t); ok {
		return s.Ctim.Nano()
	}
	return 0
}
