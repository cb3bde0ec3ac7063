// Command ingest measures what a user waits for when readings come in: the built
// command "rowen check FLEET", with no ledger yet, beside DuckDB's monthly sums of
// the same files; the two take turns, medians of the repeats.
//
//	go run ./scripts/bench/ingest
//	go run ./scripts/bench/ingest -sites 100000 -days 2 -memory   the ledger's peak memory
//
// It makes its fleets once in a folder of the system's (-dir): few large clean
// files (-sites, -days), and a dirty one of a CSV a site, the invented fleet of
// -dirty sites with its gaps, repeats, blank columns and shuffled files. DuckDB
// comes from -python, by default .venv, which scripts/test makes of
// scripts/requirements.txt; where it is not there, only rowen is measured and the
// report says so.
//
// check reads all channels, settles clocks, repeats and lengths, judges each site's
// readings, and writes the ledger that the next run begins from. DuckDB is asked for
// one sum of every site and month: its own scan, a stated schema, two threads, its
// process running already. Of the clean files rowen's monthly sums are held against
// DuckDB's; of the dirty ones DuckDB counts repeats twice. Where a stamp is a number
// DuckDB is asked twice: with the month a number that is written as text at the end,
// which is its fastest, and with the month as text from the start. Parquet comes in
// two forms: plain pages, and what DuckDB itself writes.
package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"time"

	_ "embed"

	"github.com/parquet-go/parquet-go"

	"rowen/ingest"
	"rowen/ingest/ledger"
	"rowen/ingest/readings"
	"rowen/scripts/outside"
)

//go:embed duck.py
var duckScript string

var (
	sites   = flag.Int("sites", 200, "sites")
	days    = flag.Int("days", 365, "days of every site")
	step    = flag.Int("step", 15, "minutes of a reading")
	dirty   = flag.Int("dirty", 120, "sites of the dirty fleet: 30 months at 15 minutes")
	python  = flag.String("python", filepath.Join(outside.Root(), ".venv", "bin", "python"), "the Python that has DuckDB")
	repeats = flag.Int("repeats", 7, "repeats")
	dir     = flag.String("dir", filepath.Join(os.TempDir(), "rowen-bench"), "folder for the files")
	memory  = flag.Bool("memory", false, "only make and load the ledger, and report the peak memory")
)

func main() {
	flag.Parse()
	runtime.GOMAXPROCS(2)
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func run() error {
	base := filepath.Join(*dir, fmt.Sprintf("%d-%d-%d", *sites, *days, *step))
	rows := *sites * *days * 1440 / *step
	csvDir, parquetDir := filepath.Join(base, "csv"), filepath.Join(base, "parquet")
	if err := makeFiles(csvDir, parquetDir); err != nil {
		return err
	}
	fmt.Printf("%d sites x %d days at %d minutes: %d rows, 2 channels; %d repeats, 2 threads each\n", *sites, *days, *step, rows, *repeats)
	if *memory {
		return ledgerMemory(csvDir, rows)
	}
	csv, pq := filepath.Join(csvDir, "readings", "all.csv"), filepath.Join(parquetDir, "readings", "all.parquet")
	otherDir := filepath.Join(base, "parquet-duckdb")
	other := filepath.Join(otherDir, "readings", "all.parquet")
	dirtyDir, dirtyRows, err := makeDirty()
	if err != nil {
		return err
	}
	duck, err := startDuck()
	if err != nil {
		fmt.Println("DuckDB is not measured:", err)
	} else {
		defer duck.stop()
		if err := duck.write(pq, other); err != nil {
			return err
		}
	}
	if err := build(); err != nil {
		return err
	}
	utc := []readings.Mapping{{Glob: "readings/*.parquet", Format: "parquet", Time: readings.Time{Zone: "UTC"}}}
	for _, c := range []struct {
		name, query, dir, file string
		rows                   int
		mapping                []readings.Mapping
	}{
		{"dirty, a CSV a site", "dirty", dirtyDir, filepath.Join(dirtyDir, "readings", "*.csv"), dirtyRows, nil},
		{"clean, one CSV", "csv", csvDir, csv, rows, nil},
		{"Parquet, plain pages, zstd", "parquet", parquetDir, pq, rows, utc},
		{"the same, text in the sums", "parquet text", parquetDir, pq, rows, utc},
		{"Parquet as DuckDB writes it", "parquet", otherDir, other, rows, utc},
		{"the same, text in the sums", "parquet text", otherDir, other, rows, utc},
	} {
		if _, err := os.Stat(c.file); c.file == other && err != nil {
			continue
		}
		if c.query != "dirty" {
			if err := writeRegister(c.dir, dirtyDir, c.mapping != nil); err != nil {
				return err
			}
			if err := sumsAgree(duck, c.query, c.dir, c.file, c.mapping); err != nil {
				return fmt.Errorf("%s: %w", c.name, err)
			}
		}
		if err := compare(c.name, duck, c.query, c.file, c.dir, c.rows); err != nil {
			return fmt.Errorf("%s: %w", c.name, err)
		}
	}
	return nil
}

// sums are Wh by site and month.
type sums map[string]float64

// compare lets the two take turns.
func compare(name string, duck *duckdb, query, file, fleet string, rows int) error {
	var mine, theirs, cpu, theirCPU, memory []float64
	for range *repeats {
		c, err := check(fleet)
		if err != nil {
			return err
		}
		mine, cpu, memory = append(mine, c.wall), append(cpu, c.cpu), append(memory, c.peakMB)
		if duck != nil {
			_, took, used, err := duck.ask(query, file)
			if err != nil {
				return err
			}
			theirs, theirCPU = append(theirs, took), append(theirCPU, used)
		}
	}
	m := median(mine)
	line := fmt.Sprintf("%-27s %.1f M rows: rowen check %.3f s (CPU %.3f s, %.0f MB)", name, float64(rows)/1e6, m, median(cpu), median(memory))
	if duck != nil {
		line += fmt.Sprintf("; DuckDB %.3f s (CPU %.3f s): %.2f times as fast, %.2f times in CPU", median(theirs), median(theirCPU), median(theirs)/m, median(theirCPU)/median(cpu))
	}
	fmt.Println(line)
	return nil
}

// sumsAgree reads the files as check does and holds the monthly sums against
// DuckDB's, once.
func sumsAgree(duck *duckdb, query, dir, file string, m []readings.Mapping) error {
	if duck == nil {
		return nil
	}
	got, err := series(dir, m)
	if err != nil {
		return err
	}
	want, _, _, err := duck.ask(query, file)
	if err != nil {
		return err
	}
	return agree(got, want)
}

// agree holds the two sums against each other, to a thousandth of a Wh a row.
func agree(a, b sums) error {
	if len(a) != len(b) {
		return fmt.Errorf("%d sums against DuckDB's %d", len(a), len(b))
	}
	for k, v := range a {
		if w, ok := b[k]; !ok || math.Abs(v-w) > 0.5 {
			return fmt.Errorf("sum of %s is %g against DuckDB's %g", k, v, w)
		}
	}
	return nil
}

func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// add sums a series by month.
func (s sums) add(x *ingest.Series) {
	for from := x.Start; from < x.End(); {
		t := from.Time()
		to := min(x.End(), ingest.HourOf(time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC)))
		sum := 0.0
		for c := range x.Wh {
			if x.Wh[c] == nil {
				continue
			}
			for _, v := range x.Wh[c][from-x.Start : to-x.Start] {
				if v == v {
					sum += v
				}
			}
		}
		s[x.SiteID+" "+t.Format("2006-01")] += sum
		from = to
	}
}

func register() []ledger.Site {
	list := make([]ledger.Site, *sites)
	for i := range list {
		list[i] = ledger.Site{ID: siteID(i), LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}
	}
	return list
}

func siteID(i int) string { return fmt.Sprintf("S%06d", i) }

// series reads the files into a new ledger and every site out of it, as a run
// does.
func series(dir string, m []readings.Mapping) (sums, error) {
	if err := update(dir, m); err != nil {
		return nil, err
	}
	l, err := ledger.Open(context.Background(), dir, nil)
	if err != nil {
		return nil, err
	}
	s := sums{}
	var mu sync.Mutex
	return s, each(l, func(x *ingest.Series) {
		one := sums{}
		one.add(x)
		mu.Lock()
		defer mu.Unlock()
		for k, v := range one {
			s[k] += v
		}
	})
}

func update(dir string, m []readings.Mapping) error {
	if err := os.RemoveAll(filepath.Join(dir, ".rowen")); err != nil {
		return err
	}
	_, err := ledger.Update(context.Background(), dir, register(), m, ledger.Options{Workers: 2})
	return err
}

// load loads every site once.
func load(dir string) error {
	l, err := ledger.Open(context.Background(), dir, nil)
	if err != nil {
		return err
	}
	return each(l, func(*ingest.Series) {})
}

// each loads every site once, with two goroutines.
func each(l *ledger.Ledger, do func(*ingest.Series)) error {
	order := l.Order()
	var wg sync.WaitGroup
	errs := make([]error, 2)
	for w := range 2 {
		wg.Go(func() {
			var s ingest.Series
			for _, id := range order[len(order)*w/2 : len(order)*(w+1)/2] {
				if err := l.Load(id, &s); err != nil {
					errs[w] = err
					return
				}
				do(&s)
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// ledgerMemory makes the ledger and loads all of it, and says the peak.
func ledgerMemory(dir string, rows int) error {
	at := time.Now()
	if err := update(dir, nil); err != nil {
		return err
	}
	made := time.Since(at)
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	fmt.Printf("ledger made in %.1f s, peak memory %d MB\n", made.Seconds(), u.Maxrss/1024)
	if err := load(dir); err != nil {
		return err
	}
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	fmt.Printf("and loaded, peak memory %d MB\n", u.Maxrss/1024)
	return nil
}

// makeFiles writes the same rows as CSV and as Parquet, once.
func makeFiles(csvDir, parquetDir string) error {
	csv, pq := filepath.Join(csvDir, "readings", "all.csv"), filepath.Join(parquetDir, "readings", "all.parquet")
	last := pq
	if *memory {
		last = csv
	}
	if _, err := os.Stat(last); err == nil {
		return nil
	}
	for _, p := range []string{csv, pq} {
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			return err
		}
	}
	c, err := os.Create(csv + ".new")
	if err != nil {
		return err
	}
	defer c.Close()
	p, err := os.Create(pq + ".new")
	if err != nil {
		return err
	}
	defer p.Close()
	type row struct {
		Site        string  `parquet:"site_id,dict,zstd"`
		Start       int64   `parquet:"start,timestamp(millisecond:local),zstd"`
		Production  float64 `parquet:"production_wh,zstd"`
		Consumption float64 `parquet:"consumption_wh,zstd"`
	}
	w := bufio.NewWriterSize(c, 1<<20)
	fmt.Fprintln(w, "site_id,start,production_wh,consumption_wh")
	pw := parquet.NewGenericWriter[row](p, parquet.MaxRowsPerRowGroup(500_000))
	start := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	n := *days * 1440 / *step
	stamps := make([]string, n)
	for i := range stamps {
		stamps[i] = start.Add(time.Duration(i**step) * time.Minute).Format(time.RFC3339)
	}
	seed := uint64(1)
	random := func() float64 {
		seed = seed*6364136223846793005 + 1442695040888963407
		return float64(seed>>33) / (1 << 31)
	}
	batch := make([]row, n)
	line := []byte(nil)
	for s := range *sites {
		id := siteID(s)
		for i := range n {
			hour := float64(i**step%1440) / 60
			sun := max(0, math.Sin((hour-6)/12*math.Pi))
			made := math.Round(sun*random()*8000*float64(*step)/60*10) / 10
			used := math.Round((200+1500*random()*random())*float64(*step)/60*10) / 10
			batch[i] = row{id, start.UnixMilli() + int64(i**step)*60000, made, used}
			line = fmt.Appendf(line[:0], "%s,%s,", id, stamps[i])
			line = strconv.AppendFloat(line, made, 'g', -1, 64)
			line = append(strconv.AppendFloat(append(line, ','), used, 'g', -1, 64), '\n')
			w.Write(line)
		}
		if *memory {
			continue
		}
		if _, err := pw.Write(batch); err != nil {
			return err
		}
	}
	if err := errors.Join([]error{w.Flush(), pw.Close(), p.Close(), os.Rename(csv+".new", csv)}...); err != nil {
		return err
	}
	if *memory {
		return os.Remove(pq + ".new")
	}
	return os.Rename(pq+".new", pq)
}

// duckdb is a Python process that answers one query after the other.
type duckdb struct {
	cmd *exec.Cmd
	in  *json.Encoder
	out *bufio.Reader
}

func startDuck() (*duckdb, error) {
	cmd := exec.Command(*python, "-c", duckScript)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	d := &duckdb{cmd, json.NewEncoder(in), bufio.NewReaderSize(out, 1<<20)}
	version, err := d.out.ReadString('\n')
	if err != nil {
		return nil, fmt.Errorf("starting it in .venv (scripts/test makes that): %w", err)
	}
	fmt.Print("DuckDB ", version)
	return d, nil
}

func (d *duckdb) ask(query, file string) (_ sums, seconds, cpu float64, _ error) {
	a, err := d.answer(map[string]string{"query": query, "file": file})
	return a.Sums, a.Seconds, a.CPU, err
}

type answer struct {
	Seconds float64 `json:"seconds"`
	CPU     float64 `json:"cpu"`
	Sums    sums    `json:"sums"`
	Error   string  `json:"error"`
}

func (d *duckdb) answer(ask map[string]string) (a answer, _ error) {
	if err := d.in.Encode(ask); err != nil {
		return a, err
	}
	line, err := d.out.ReadBytes('\n')
	if err != nil {
		return a, err
	}
	if err := json.Unmarshal(line, &a); err != nil {
		return a, err
	}
	if a.Error != "" {
		return a, fmt.Errorf("DuckDB: %s", a.Error)
	}
	return a, nil
}

// write has DuckDB write a Parquet file anew, once.
func (d *duckdb) write(from, to string) error {
	if _, err := os.Stat(to); err == nil {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	_, err := d.answer(map[string]string{"query": "write", "file": from, "to": to})
	return err
}

func (d *duckdb) stop() {
	d.cmd.Process.Kill()
	d.cmd.Wait()
}
