package regular

import (
	"encoding/binary"
	"fmt"
	"io"
)

// FooterFits checks the length that the end of a Parquet file gives its footer: who
// trusts a damaged one sets aside up to 4 GB of memory before it sees that the file
// is shorter.
func FooterFits(f io.ReaderAt, size int64) error {
	var end [8]byte // the length, and the format's sign
	if size < int64(len(end)) {
		return fmt.Errorf("the file has %d bytes and is no Parquet file: write it anew", size)
	}
	if _, err := f.ReadAt(end[:], size-int64(len(end))); err != nil {
		return err
	}
	if n := int64(binary.LittleEndian.Uint32(end[:4])); n > size-int64(len(end)) {
		return fmt.Errorf("the footer claims %d bytes of a file of %d: it is damaged, write it anew", n, size)
	}
	return nil
}
