// Leaves prints what parquet-go reads in the leaf columns of Parquet files,
// without any row type of the program: logical type, values that are there, and
// a digest of them in order. Other engines do the same in agree.py.
//
//	go run ./scripts/leaves FILE.parquet ... > leaves.json
package main

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/parquet-go/parquet-go"
)

// leaf is one leaf column.
type leaf struct {
	Type   string `json:"type"`
	Values int    `json:"values"` // that are not null
	Digest string `json:"digest"`
}

func main() {
	files := map[string]map[string]leaf{}
	for _, path := range os.Args[1:] {
		leaves, err := read(path)
		if err != nil {
			fmt.Fprintln(os.Stderr, "leaves:", err)
			os.Exit(1)
		}
		files[strings.TrimSuffix(filepath.Base(path), ".parquet")] = leaves
	}
	if err := json.NewEncoder(os.Stdout).Encode(files); err != nil {
		fmt.Fprintln(os.Stderr, "leaves:", err)
		os.Exit(1)
	}
}

func read(path string) (map[string]leaf, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	p, err := parquet.OpenFile(f, info.Size())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	leaves := map[string]leaf{}
	for i, at := range p.Schema().Columns() {
		column, _ := p.Schema().Lookup(at...)
		l := leaf{Type: kind(column.Node.Type())}
		sum := sha256.New()
		for _, g := range p.RowGroups() {
			if err := l.chunk(g.ColumnChunks()[i], sum); err != nil {
				return nil, fmt.Errorf("%s: column %s: %w", path, strings.Join(at, "."), err)
			}
		}
		l.Digest = hex.EncodeToString(sum.Sum(nil))
		leaves[strings.NewReplacer(".list.element", "").Replace(strings.Join(at, "."))] = l
	}
	return leaves, nil
}

func (l *leaf) chunk(c parquet.ColumnChunk, sum hash.Hash) error {
	pages := c.Pages()
	defer pages.Close()
	buf := make([]parquet.Value, 1024)
	for {
		page, err := pages.ReadPage()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		values := page.Values()
		for {
			n, err := values.ReadValues(buf)
			for _, v := range buf[:n] {
				if !v.IsNull() {
					l.Values++
					digest(sum, l.Type, v)
				}
			}
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				return err
			}
		}
	}
}

// digest adds a value: numbers as their 64 bits, text with its length before it.
func digest(sum hash.Hash, kind string, v parquet.Value) {
	var b [8]byte
	switch kind {
	case "text":
		binary.LittleEndian.PutUint64(b[:], uint64(len(v.ByteArray())))
		sum.Write(b[:])
		sum.Write(v.ByteArray())
		return
	case "float64":
		binary.LittleEndian.PutUint64(b[:], math.Float64bits(v.Double()))
	case "boolean":
		if v.Boolean() {
			b[0] = 1
		}
	default: // int32, date
		binary.LittleEndian.PutUint64(b[:], uint64(int64(v.Int32())))
	}
	sum.Write(b[:])
}

func kind(t parquet.Type) string {
	switch t.String() { // STRING and DATE are logical types of the format
	case "STRING":
		return "text"
	case "DATE":
		return "date"
	}
	switch t.Kind() {
	case parquet.Double:
		return "float64"
	case parquet.Boolean:
		return "boolean"
	case parquet.Int32:
		return "int32"
	}
	return t.String()
}
