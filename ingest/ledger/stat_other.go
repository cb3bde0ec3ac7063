//go:build !linux

package ledger

import "os"

func changeTime(os.FileInfo) int64 { return 0 }
