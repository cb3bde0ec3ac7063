// Job measures the whole monthly job on generated fleets: sites a second and
// peak memory, reading everything (no ledger yet) and again in the next month
// (the ledger holds it).
//
//	go run ./scripts/bench/job -sites 250,1000 -months 30 -step 15
//	go run ./scripts/bench/job -sites 120 -perfile 1    # one file a site
//
// The fleets are kept in -dir for the next measurement.
package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"rowen/ingest/demo"
)

func main() {
	sizes := flag.String("sites", "250,1000", "fleet sizes")
	months := flag.Int("months", 30, "months of readings")
	step := flag.Int("step", 15, "minutes between readings")
	perFile := flag.Int("perfile", 0, "sites in a file of readings; 0: as the invented fleet has them")
	dir := flag.String("dir", filepath.Join(os.TempDir(), "rowen-bench"), "where the fleets are made and kept")
	flag.Parse()
	if err := bench(strings.Split(*sizes, ","), *months, *step, *perFile, *dir); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func bench(sizes []string, months, step, perFile int, dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	binary := filepath.Join(dir, "rowen")
	build := exec.Command("go", "build", "-trimpath", "-o", binary, "./cmd/rowen")
	build.Stderr = os.Stderr
	if err := build.Run(); err != nil {
		return err
	}
	fmt.Println("| sites | readings | on disk MB | | wall s | CPU s | sites a second | peak MB |\n| --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, s := range sizes {
		n, err := strconv.Atoi(strings.TrimSpace(s))
		if err != nil {
			return err
		}
		fleet := filepath.Join(dir, fmt.Sprintf("fleet-%d-%d-%d-%d", n, months, step, perFile))
		if err := makeFleet(fleet, n, months, step, perFile); err != nil {
			return err
		}
		if err := os.RemoveAll(filepath.Join(fleet, ".rowen")); err != nil {
			return err
		}
		for _, what := range []string{"reading everything", "from the ledger"} {
			if err := measure(binary, fleet, what, n, months, step); err != nil {
				return err
			}
		}
	}
	return nil
}

func makeFleet(fleet string, sites, months, step, perFile int) error {
	if _, err := os.Stat(filepath.Join(fleet, "sites.csv")); err == nil {
		return nil
	}
	o := demo.Default()
	o.Sites, o.Months, o.StepMinutes = sites, months, step
	return demo.Make(o).Write(fleet, demo.WriteOptions{SitesPerFile: perFile})
}

func measure(binary, fleet, what string, sites, months, step int) error {
	cmd := exec.Command(binary, "run", fleet, "--out", filepath.Join(fleet, "out"))
	began := time.Now()
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%w\n%s", err, out)
	}
	wall := time.Since(began).Seconds()
	use := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	cpu := cmd.ProcessState.UserTime().Seconds() + cmd.ProcessState.SystemTime().Seconds()
	fmt.Printf("| %d | %d min, %d months | %.0f | %s | %.1f | %.1f | %.0f | %.0f |\n", sites, step, months, sizeMB(filepath.Join(fleet, "readings")), what,
		wall, cpu, float64(sites)/wall, float64(use.Maxrss)/1024)
	return nil
}

func sizeMB(dir string) float64 {
	total := int64(0)
	filepath.WalkDir(dir, func(_ string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			if info, err := d.Info(); err == nil {
				total += info.Size()
			}
		}
		return nil
	})
	return float64(total) / 1e6
}
