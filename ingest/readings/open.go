package readings

import (
	"archive/zip"
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"

	"rowen/ingest"
	"rowen/ingest/regular"
)

// File is one file under its mapping, ready to be read.
type File struct {
	Path    string // relative to the fleet's folder, with slashes
	Size    int64
	Format  string
	Meaning Meaning
	Notes   []string // columns kept out

	abs       string
	limits    Limits
	mapping   Mapping
	cols      *columns
	delimiter byte
	body      int64 // offset of the first row in the text
	bodyLine  int32 // its line
	packed    bool  // .gz or .zst
	folded    bool  // read by cells: see unfold.go
}

// Prepare reads what must be known before the rows: the header of a text file,
// the schema of a Parquet file.
func Prepare(dir, rel string, m Mapping, o Limits) (*File, error) {
	m = m.filled()
	f := &File{limits: o, Path: rel, abs: filepath.Join(dir, filepath.FromSlash(rel)), mapping: m, Format: formatOf(rel, m)}
	info, err := os.Stat(f.abs)
	if err != nil {
		return nil, err
	}
	f.Size = info.Size()
	f.packed = isPacked(rel)
	if f.Meaning, err = m.meaning(); err != nil {
		return nil, err
	}
	if f.folded = m.isFolded(f.Format); f.folded || f.Format == "csv" && !f.packed && isUTF16(f.abs) {
		f.folded = true
		return f, f.prepareFolded()
	}
	switch f.Format {
	case "csv":
		err = f.prepareText()
	case "parquet":
		err = f.prepareParquet()
	case "green_button", "nem12":
		// Both say in themselves what their values are.
		f.Meaning = Meaning{}
	}
	return f, err
}

// formatOf trusts the file's own ending for Parquet and XML, and the mapping
// for the rest.
func formatOf(rel string, m Mapping) string {
	if isPacked(rel) {
		rel = strings.TrimSuffix(rel, filepath.Ext(rel))
	}
	switch strings.ToLower(filepath.Ext(rel)) {
	case ".parquet":
		return "parquet"
	case ".xml":
		return "green_button"
	case ".json":
		return "json"
	case ".xlsx":
		return "xlsx"
	}
	return m.Format
}

// isUTF16 tells whether a text begins with the mark of UTF-16.
func isUTF16(path string) bool {
	f, err := regular.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	var mark [2]byte
	_, err = io.ReadFull(f, mark[:])
	return err == nil && (mark == [2]byte{0xff, 0xfe} || mark == [2]byte{0xfe, 0xff})
}

func isPacked(rel string) bool {
	ext := strings.ToLower(filepath.Ext(rel))
	return ext == ".gz" || ext == ".zst" || ext == ".zip"
}

// freeUnpacked is what any packed file may unpack to, whatever its size (our
// choice).
const freeUnpacked = 64 << 20

// openText opens a file and unpacks it: .gz, .zst, or a .zip of one file.
func openText(path string, o Limits) (io.ReadCloser, error) {
	f, err := regular.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	most := freeUnpacked + info.Size()*o.ratio()
	switch strings.ToLower(filepath.Ext(path)) {
	case ".gz":
		z, err := gzip.NewReader(bufio.NewReaderSize(f, 64<<10))
		if err != nil {
			f.Close()
			return nil, fmt.Errorf("unpacking gzip: %w", err)
		}
		return unpacked{&bounded{z, most, o.ratio()}, z.Close, f}, nil
	case ".zip":
		r, err := openZip(f)
		if err != nil {
			f.Close()
			return nil, fmt.Errorf("unpacking zip: %w", err)
		}
		return unpacked{&bounded{r, most, o.ratio()}, r.Close, f}, nil
	case ".zst":
		z, err := zstd.NewReader(f, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(128<<20))
		if err != nil {
			f.Close()
			return nil, fmt.Errorf("unpacking zstd: %w", err)
		}
		return unpacked{&bounded{z, most, o.ratio()}, func() error { z.Close(); return nil }, f}, nil
	}
	return f, nil
}

// openZip opens the one file of an archive.
func openZip(f *os.File) (io.ReadCloser, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	z, err := zip.NewReader(f, info.Size())
	if err != nil {
		return nil, err
	}
	var one *zip.File
	for _, e := range z.File {
		if e.FileInfo().IsDir() || strings.HasPrefix(e.Name, "__MACOSX/") {
			continue
		}
		if one != nil {
			return nil, errors.New("the archive holds more than one file: unpack it into the folder")
		}
		one = e
	}
	if one == nil {
		return nil, errors.New("the archive is empty")
	}
	return one.Open()
}

// bounded stops a reader that gives too much.
type bounded struct {
	in    io.Reader
	left  int64
	ratio int64 // for the message
}

func (b *bounded) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, fmt.Errorf("the file unpacks to more than %d times its size: limits.max_unpacked_ratio allows no more, for so do files that are made to fill memory or disk", b.ratio)
	}
	n, err := b.in.Read(p[:min(int64(len(p)), b.left)])
	b.left -= int64(n)
	return n, err
}

type unpacked struct {
	io.Reader
	close func() error
	file  *os.File
}

func (u unpacked) Close() error { return errors.Join(u.close(), u.file.Close()) }

// prepareText reads the header line.
func (f *File) prepareText() error {
	r, err := openText(f.abs, f.limits)
	if err != nil {
		return err
	}
	defer r.Close()
	br := bufio.NewReaderSize(r, 64<<10)
	start, _ := br.Peek(3)
	if first, _ := br.Peek(9); isNEM(first) {
		f.Format, f.Meaning = "nem12", Meaning{}
		return nil
	}
	switch {
	case bytes.HasPrefix(start, []byte("\xef\xbb\xbf")):
		br.Discard(3)
		f.body = 3
	case bytes.HasPrefix(start, []byte("\xff\xfe")), bytes.HasPrefix(start, []byte("\xfe\xff")):
		return errors.New("the text is UTF-16: save it as UTF-8")
	}
	for {
		line, err := readLine(br, f.limits.lineBytes())
		f.body += int64(len(line))
		f.bodyLine++
		if len(line) == 0 && err != nil {
			if errors.Is(err, io.EOF) {
				return errors.New("the file is empty: it must have a header row")
			}
			return err
		}
		line = bytes.TrimRight(line, "\r\n")
		if bytes.IndexByte(line, '\r') >= 0 {
			return errors.New("its lines end with carriage returns alone: save it with line feeds")
		}
		wanted := int32(f.mapping.HeaderLine)
		if f.bodyLine < wanted || wanted == 0 && len(line) == 0 {
			continue
		}
		return f.bindHeader(line)
	}
}

func (f *File) bindHeader(line []byte) error {
	f.delimiter = delimiterOf(line)
	if f.mapping.Delimiter != "" {
		f.delimiter = f.mapping.Delimiter[0]
	}
	r := csv.NewReader(bytes.NewReader(line))
	r.Comma = rune(f.delimiter)
	header, err := r.Read()
	if err != nil {
		return fmt.Errorf("reading the header: %w", err)
	}
	f.cols, err = bind(f.mapping, f.Path, header)
	if err == nil {
		f.Notes = f.cols.notes
	}
	return err
}

// delimiterOf is the commonest of the usual delimiters in a header line.
func delimiterOf(line []byte) byte {
	best, most := byte(','), 0
	for _, d := range []byte{',', ';', '\t', '|'} {
		if n := bytes.Count(line, []byte{d}); n > most {
			best, most = d, n
		}
	}
	return best
}

func readLine(br *bufio.Reader, most int) ([]byte, error) {
	var line []byte
	for {
		part, err := br.ReadSlice('\n')
		line = append(line, part...)
		if len(line) > most {
			return nil, tooLong(most)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return line, err
		}
	}
}

// Has tells whether the file may have readings of a channel.
func (f *File) Has(c ingest.Channel) bool {
	if f.cols == nil { // Green Button and NEM12 know the grid only
		return c == ingest.Import || c == ingest.Export
	}
	return f.cols.has[c]
}

// Part is a piece of a file that is read on its own.
type Part struct {
	file     *File
	from, to int64 // of the text, to < 0: up to the end; of Parquet, row groups
	first    bool
	bytes    int64
	tee      io.Writer // nil: none; see Tee
}

const partBytes = 16 << 20

// Parts cuts a file into pieces that can be read at the same time: plain text
// into ranges of 16 MiB, Parquet into runs of row groups, all else not at all.
func (f *File) Parts() []Part {
	switch {
	case f.folded:
	case f.Format == "csv" && !f.packed && f.cols.stamped:
		var parts []Part
		for from := f.body; from < f.Size || len(parts) == 0; from += partBytes {
			to := min(from+partBytes, f.Size)
			parts = append(parts, Part{f, from, to, len(parts) == 0, to - from, nil})
		}
		return parts
	case f.Format == "parquet":
		return f.parquetParts()
	}
	return []Part{{f, f.body, -1, true, f.Size, nil}}
}

// Tee lets the only part of a plain text write each byte of its file to w as it is
// read, the ones before the part first; false, where a part is not such. What is
// written is the whole file only where nothing goes wrong: count it.
func (p *Part) Tee(w io.Writer) bool {
	f := p.file
	if f.folded || f.Format != "csv" || f.packed || !f.cols.stamped || f.cols.wide || !p.first || p.to != f.Size {
		return false
	}
	p.tee = w
	return true
}

// Bytes is the size of the part, for the progress.
func (p Part) Bytes() int64 { return p.bytes }

// FirstLine is the line in the file that a part's line 1 is, given the lines
// of the parts before it.
func (f *File) FirstLine(linesBefore int64) int64 { return int64(f.bodyLine) + linesBefore }

// Limits of what one file may ask for.
type Limits struct {
	MaxRejects    int   // kept with their lines
	LineBytes     int   // of one line, row or XML element; 0: 16 MB
	UnpackedRatio int64 // how many times its size a packed file may unpack to, beyond freeUnpacked; 0: 500
}

func (o Limits) lineBytes() int { return cmp.Or(o.LineBytes, 16<<20) }

func (o Limits) ratio() int64 { return cmp.Or(o.UnpackedRatio, 500) }

func tooLong(most int) error {
	return fmt.Errorf("a line or an element is longer than %.3g MB: limits.max_line_mb allows no more, for it must fit in memory", float64(most)/(1<<20))
}

// Read reads one part. emit gets batches that it must not keep.
func (p Part) Read(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	if p.file.folded {
		return p.file.readFolded(ctx, names, o, emit)
	}
	switch p.file.Format {
	case "parquet":
		return p.readParquet(ctx, names, o, emit)
	case "green_button":
		return p.file.readGreenButton(ctx, names, o, emit)
	case "nem12":
		return p.file.readNEM(ctx, names, o, emit)
	}
	if !p.file.cols.stamped || p.file.cols.wide {
		return p.file.ReadPlain(ctx, names, o, emit)
	}
	return p.scan(ctx, names, o, emit)
}

// reject counts a row set aside, and keeps it while there is room.
func (t *Tally) reject(o Limits, r ingest.Reject) {
	t.SetAside++
	if len(t.Rejects) < o.MaxRejects {
		t.Rejects = append(t.Rejects, r)
	}
}

func fileSize(path string) (int64, error) {
	info, err := os.Stat(path)
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}
