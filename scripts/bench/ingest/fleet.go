package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"

	"rowen/ingest/demo"
)

func program() string { return filepath.Join(*dir, "rowen") }

func build() error {
	c := exec.Command("go", "build", "-o", program(), "./cmd/rowen")
	c.Stderr = os.Stderr
	return c.Run()
}

// cost is what one call of the command took.
type cost struct{ wall, cpu, peakMB float64 }

// check runs the built command on a fleet that it has not seen before. Exit code 3
// says that some rows were set aside.
func check(fleet string) (cost, error) {
	if err := os.RemoveAll(filepath.Join(fleet, ".rowen")); err != nil {
		return cost{}, err
	}
	c := exec.Command(program(), "check", fleet)
	var says bytes.Buffer
	c.Stderr = &says
	c.Env = append(os.Environ(), "GOMAXPROCS=2", "ROWEN_WORKERS=2")
	at := time.Now()
	err := c.Run()
	took := time.Since(at)
	if err != nil && c.ProcessState.ExitCode() != 3 {
		return cost{}, fmt.Errorf("check %s: %w: %s", fleet, err, says.Bytes())
	}
	u := c.ProcessState.SysUsage().(*syscall.Rusage)
	return cost{took.Seconds(), (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds(), float64(u.Maxrss) / 1024}, nil
}

// writeRegister makes a fleet of the clean files: sites all over a country, with
// the dirty fleet's catalogue and tariffs.
func writeRegister(dir, dirty string, parquet bool) error {
	for _, name := range []string{"catalogue.yaml", "tariffs.yaml"} {
		text, err := os.ReadFile(filepath.Join(dirty, name))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
			return err
		}
	}
	var b strings.Builder
	b.WriteString("site_id,latitude,longitude,timezone\n")
	for i := range *sites {
		fmt.Fprintf(&b, "%s,%.2f,%.2f,America/Denver\n", siteID(i), 32+float64(i%150)/10, -112+float64(i%90)/10)
	}
	settings := "currency: USD\ndefaults: {timezone: America/Denver, tariff_id: flat-net, profile: split-phase-200, module: TN-430, inverter: KV2-410}\n"
	if parquet {
		settings += "readings: [{glob: \"readings/*.parquet\", format: parquet, time: {zone: UTC}}]\n"
	}
	if err := os.WriteFile(filepath.Join(dir, "sites.csv"), []byte(b.String()), 0o644); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, "rowen.yaml"), []byte(settings), 0o644)
}

// makeDirty writes the invented fleet with one plain CSV a site, in the contract's
// order of columns: what a site has no meter for is blank.
func makeDirty() (fleet string, rows int, err error) {
	fleet = filepath.Join(*dir, fmt.Sprintf("dirty-%d", *dirty))
	folder := filepath.Join(fleet, "readings")
	done := filepath.Join(fleet, "done")
	if _, err := os.Stat(done); err != nil {
		if err := os.RemoveAll(fleet); err != nil {
			return "", 0, err
		}
		o := demo.Default()
		o.Sites, o.Months, o.StepMinutes, o.Seed = *dirty, 30, 15, 4711
		if err := demo.Make(o).Write(fleet, demo.WriteOptions{SitesPerFile: 1}); err != nil {
			return "", 0, err
		}
		files, err := filepath.Glob(filepath.Join(folder, "*"))
		if err != nil {
			return "", 0, err
		}
		for _, path := range files {
			n, err := plain(path)
			if err != nil {
				return "", 0, fmt.Errorf("%s: %w", path, err)
			}
			rows += n
		}
		if err := os.WriteFile(done, fmt.Append(nil, rows), 0o644); err != nil {
			return "", 0, err
		}
	}
	text, err := os.ReadFile(done)
	if err == nil {
		_, err = fmt.Sscan(string(text), &rows)
	}
	return fleet, rows, err
}

// plain writes a file of readings anew, unpacked and with the columns in order.
func plain(path string) (rows int, err error) {
	packed, err := os.ReadFile(path)
	if err != nil {
		return 0, err
	}
	var in io.Reader = bytes.NewReader(packed)
	switch filepath.Ext(path) {
	case ".gz":
		in, err = gzip.NewReader(in)
	case ".zst":
		in, err = zstd.NewReader(in)
	}
	if err != nil {
		return 0, err
	}
	var out bytes.Buffer
	want := []string{"site_id", "start", "production_wh", "consumption_wh", "import_wh", "export_wh"}
	var at []int // where the file has each
	for lines := bufio.NewScanner(in); lines.Scan(); rows++ {
		cells := strings.Split(lines.Text(), ",")
		if at == nil {
			for _, name := range want {
				at = append(at, slices.Index(cells, name))
			}
			rows--
			fmt.Fprintln(&out, strings.Join(want, ","))
			continue
		}
		for i, k := range at {
			if i > 0 {
				out.WriteByte(',')
			}
			if k >= 0 && k < len(cells) {
				out.WriteString(cells[k])
			}
		}
		out.WriteByte('\n')
	}
	if err := os.Remove(path); err != nil {
		return 0, err
	}
	name, _, _ := strings.Cut(path, ".csv")
	return rows, os.WriteFile(name+".csv", out.Bytes(), 0o644)
}
