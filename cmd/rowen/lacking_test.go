package main

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"encoding/csv"
	"encoding/json"

	"github.com/klauspost/compress/zstd"

	"rowen/ingest/demo"
	"rowen/report"
)

// smallFleet is a fleet of a few sites with a file of readings a month. The
// first call makes it, each call gives a copy.
func smallFleet(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(theSmallFleet(t))); err != nil {
		t.Fatal(err)
	}
	return dir
}

var smallDir string

func theSmallFleet(t *testing.T) string {
	t.Helper()
	if smallDir != "" {
		return smallDir
	}
	dir, err := os.MkdirTemp("", "rowen-small-")
	if err != nil {
		t.Fatal(err)
	}
	o := demo.Default()
	o.Sites, o.Months, o.Events, o.Faults = 6, 14, 0, 0
	if err := demo.Make(o).Write(dir, demo.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	splitByMonth(t, filepath.Join(dir, "readings"))
	smallDir = dir
	return dir
}

// splitByMonth makes one file a month of the files of a folder.
func splitByMonth(t *testing.T, dir string) {
	t.Helper()
	parts, _ := filepath.Glob(filepath.Join(dir, "*.csv.zst"))
	months, header := map[string][]string{}, ""
	for _, part := range parts {
		packed, err := os.ReadFile(part)
		if err != nil {
			t.Fatal(err)
		}
		d, err := zstd.NewReader(nil)
		if err != nil {
			t.Fatal(err)
		}
		text, err := d.DecodeAll(packed, nil)
		d.Close()
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(text)), "\n")
		header = lines[0]
		for _, line := range lines[1:] {
			_, rest, _ := strings.Cut(line, ",")
			months[rest[:7]] = append(months[rest[:7]], line)
		}
		os.Remove(part)
	}
	for m, lines := range months {
		write(t, dir, m+".csv", header+"\n"+strings.Join(lines, "\n")+"\n")
	}
}

// runJSON reads a run's record.
func runJSON(t *testing.T, fleet string) (m report.Manifest) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(fleet, "runs", "2026-10", "run.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

// What is lacking is said first, by check and by run with the same exit code.
func TestWhatIsLacking(t *testing.T) {
	for _, tc := range []struct {
		name  string
		spoil func(dir string)
		code  int
		says  string
		calls bool // a call list may be published
	}{
		{"nothing", func(string) {}, 0, "", true},
		{"the newest file is a pipe", func(dir string) {
			os.Remove(filepath.Join(dir, "readings", "2026-10.csv"))
			makePipe(filepath.Join(dir, "readings", "2026-10.csv"))
		}, 3, "could not be read", true},
		{"the newest file is cut", func(dir string) { write(t, dir, "readings/2026-10.csv", "\xff\xfe half a file") }, 3, "could not be read", true},
		{"13 of 14 files cannot be read", func(dir string) {
			files, _ := filepath.Glob(filepath.Join(dir, "readings", "*.csv"))
			for _, f := range files[:len(files)-1] {
				b, _ := os.ReadFile(f)
				copy(b, "\xff\xfe")
				os.WriteFile(f, b, 0o644)
			}
		}, 3, "no call list is published", false},
		{"files vanished", func(dir string) {
			if code, _, errs := rowenRun("check", dir); code != 0 {
				t.Fatal(errs)
			}
			for _, m := range []string{"2026-01", "2026-02"} {
				os.Remove(filepath.Join(dir, "readings", m+".csv"))
			}
		}, 3, "no call list is published", false},
		{"every tariff is unusable", func(dir string) {
			b, _ := os.ReadFile(filepath.Join(dir, "tariffs.yaml"))
			write(t, dir, "tariffs.yaml", strings.ReplaceAll(string(b), "price: 0.", "price: -0."))
		}, 3, "none of the", true},
		{"a tariff with a word of a megabyte", func(dir string) {
			b, _ := os.ReadFile(filepath.Join(dir, "tariffs.yaml"))
			write(t, dir, "tariffs.yaml", strings.Replace(string(b), "settlement: ", "settlement: "+strings.Repeat("A", 1<<20), 1))
		}, 3, "tariffs cannot be used", true},
		{"a file whose error quotes a megabyte", func(dir string) {
			write(t, dir, "readings/2026-10.xml", "<feed xmlns=\"http://www.w3.org/2005/Atom\"><a></"+strings.Repeat("A", 1<<20)+"></feed>")
		}, 3, "no call list is published", false},
		{"no tariffs", func(dir string) {
			os.Remove(filepath.Join(dir, "tariffs.yaml"))
			b, _ := os.ReadFile(filepath.Join(dir, "rowen.yaml"))
			write(t, dir, "rowen.yaml", strings.ReplaceAll(string(b), "tariff_id: flat-net, ", ""))
		}, 3, "there is no tariff", true},
		{"no catalogue", func(dir string) { write(t, dir, "catalogue.yaml", "modules: []\n") }, 1, "catalogue.yaml", false},
		{"no readings", func(dir string) { os.RemoveAll(filepath.Join(dir, "readings")) }, 1, "has readings", false},
		{"a weather file is a pipe", func(dir string) {
			os.Remove(filepath.Join(dir, "weather", "temperatures.csv"))
			makePipe(filepath.Join(dir, "weather", "temperatures.csv"))
		}, 3, "weather/temperatures.csv", true},
		{"no row of the stations can be used", func(dir string) {
			write(t, dir, "weather/stations.csv", "station_id,latitude,longitude\nW1,99,9\n")
		}, 3, "weather/stations.csv does not name the station", true},
		{"the register is a pipe", func(dir string) {
			os.Remove(filepath.Join(dir, "sites.csv"))
			makePipe(filepath.Join(dir, "sites.csv"))
		}, 1, "regular", false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			dir := smallFleet(t)
			tc.spoil(dir)
			for _, command := range []string{"check", "run", "check", "run"} {
				code, out, errs := rowenRun(command, dir)
				if code != tc.code {
					t.Errorf("%s: exit %d, want %d: %s", command, code, tc.code, errs)
				}
				if len(errs)+len(out) > 1<<16 {
					t.Errorf("%s says %d bytes", command, len(errs)+len(out))
				}
				if tc.says != "" && !strings.Contains(errs, tc.says) {
					t.Errorf("%s does not say %q: %s", command, tc.says, errs)
				}
				if tc.code == 3 && command == "run" && !strings.Contains(out, "Lacking: ") {
					t.Errorf("the summary does not name it: %s", out)
				}
			}
			if tc.code == 1 {
				return
			}
			m := runJSON(t, dir)
			if tc.code == 3 && !strings.Contains(m.Warnings[0], tc.says) {
				t.Errorf("the first warning is %q", m.Warnings[0])
			}
			page, _ := os.ReadFile(filepath.Join(dir, "runs", "2026-10", "index.html"))
			if tc.code == 3 && !strings.Contains(string(page), tc.says) {
				t.Error("the page does not name it")
			}
			if !tc.calls && (m.Counts.Ranked > 0 || m.Counts.OnCallList > 0) {
				t.Errorf("%d on a call list that must not be", m.Counts.OnCallList)
			}
		})
	}
}

// Files that were taken away on purpose are accepted once.
func TestAcceptMissing(t *testing.T) {
	dir := smallFleet(t)
	rowenRun("check", dir)
	os.Remove(filepath.Join(dir, "readings", "2025-09.csv"))
	for _, step := range []struct {
		args []string
		code int
	}{{[]string{"run", dir}, 3}, {[]string{"check", dir}, 3}, {[]string{"check", dir, "--accept-missing"}, 0}, {[]string{"run", dir}, 0}} {
		if code, _, errs := rowenRun(step.args...); code != step.code {
			t.Errorf("%v: exit %d, want %d: %s", step.args[:1], code, step.code, errs)
		}
	}
}

// Text from files cannot steer a terminal.
func TestNothingSteersTheTerminal(t *testing.T) {
	for text, want := range map[string]string{
		"plain ü \t\n": "plain ü \t\n", "\x1b[2J": `\x1b[2J`, "a\rb": `a\x0db`, "\u202eabc": `\u202eabc`, "\x9b31m": `\x9b31m`, "\u009b31m": `\x9b31m`, "\x00\x07": `\x00\x07`,
	} {
		if got := visible(text, "\n\t"); got != want {
			t.Errorf("%q is shown as %q, want %q", text, got, want)
		}
	}
	dir := smallFleet(t)
	evil := "\x1b]0;owned\x07"
	write(t, dir, "readings/"+evil+".csv", "no table\n")
	b, _ := os.ReadFile(filepath.Join(dir, "sites.csv"))
	header, rest, _ := strings.Cut(string(b), "\n")
	write(t, dir, "sites.csv", strings.Replace(header, ",", ","+evil+",", 1)+"\n"+strings.ReplaceAll(rest, ",", ","))
	for _, command := range []string{"check", "run"} {
		_, out, errs := rowenRun(command, dir)
		if strings.Contains(out+errs, "\x1b") || strings.Contains(out+errs, "\x07") {
			t.Errorf("%s passes an escape on: %q", command, out+errs)
		}
	}
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

// Output that cannot be written is an error.
func TestOutputThatCannotBeWritten(t *testing.T) {
	dir := smallFleet(t)
	for _, args := range [][]string{{"check", dir}, {"run", dir}, {"schema"}, {"schema", "--format", "json"}} {
		var errs strings.Builder
		if code := exitCode(execute(args, fullDisk{}, &errs), &errs); code != 1 || !strings.Contains(errs.String(), "writing the output") {
			t.Errorf("%v: exit %d: %s", args, code, errs.String())
		}
	}
}

// Nobody's contact who must not be called is anywhere in a run.
func TestOptedOutAreNotNamed(t *testing.T) {
	dir := smallFleet(t)
	b, _ := os.ReadFile(filepath.Join(dir, "sites.csv"))
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i := range rows[1:] {
		for c, name := range rows[0] {
			if v, ok := map[string]string{"customer": "Zyxwine Quorrel", "contact": "zq@example.org", "do_not_contact": "yes"}[name]; ok {
				rows[i+1][c] = v
			}
		}
	}
	var changed bytes.Buffer
	csv.NewWriter(&changed).WriteAll(rows)
	write(t, dir, "sites.csv", changed.String())
	code, out, errs := rowenRun("run", dir)
	if code != 0 {
		t.Fatal(errs)
	}
	says := out + errs
	filepath.WalkDir(filepath.Join(dir, "runs"), func(path string, e os.DirEntry, err error) error {
		if err == nil && e.Type().IsRegular() {
			b, _ := os.ReadFile(path)
			says += string(b)
		}
		return err
	})
	if strings.Contains(says, "Zyxwine") || strings.Contains(says, "zq@example") {
		t.Error("a customer who must not be called is named")
	}
}

// An interrupt and a terminate end the job with 130 and 143 and leave nothing
// unfinished, at whatever moment they come; a closed pipe is an error.
func TestSignals(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: builds the program")
	}
	program := filepath.Join(t.TempDir(), "rowen")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("%s", out)
	}
	dir := smallFleet(t)
	stopped := 0
	for i, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGINT, syscall.SIGTERM, syscall.SIGINT, syscall.SIGTERM} {
		os.RemoveAll(filepath.Join(dir, ".rowen"))
		c := exec.Command(program, "run", dir)
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(40+60*i) * time.Millisecond)
		c.Process.Signal(s)
		err := c.Wait()
		var exit *exec.ExitError
		switch {
		case err == nil: // it was done before
		case errors.As(err, &exit) && exit.ExitCode() == 128+int(s):
			stopped++
		case errors.As(err, &exit) && exit.ExitCode() == -1: // on a busy machine the program does not listen yet
		default:
			t.Errorf("%v: %v", s, err)
		}
		left, _ := filepath.Glob(filepath.Join(dir, "runs", ".unfinished-*"))
		spills, _ := filepath.Glob(filepath.Join(dir, ".rowen", "ledger", "*tmp*"))
		if len(left)+len(spills) > 0 {
			t.Errorf("%v leaves %v %v", s, left, spills)
		}
	}
	if stopped == 0 {
		t.Error("no run was stopped: the test is broken")
	}
	c := exec.Command("bash", "-c", `set -o pipefail; "$0" schema | true; exit ${PIPESTATUS[0]}`, program)
	if err := c.Run(); err == nil || c.ProcessState.ExitCode() != 1 {
		t.Errorf("a closed pipe: %v", err)
	}
}
