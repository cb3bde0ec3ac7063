package register

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"rowen/ingest"
)

// AddOutcomes writes outcomes into a fleet's outcomes.csv, each once: one that is
// there already is left as it is, however often it is added. The file's own rows
// and columns stay, columns that it lacks are added, and it is replaced whole or
// not at all.
//
// Refuses: a call of a site and a day that the file has with another result; a
// file that is no CSV. Nothing is written then.
func AddOutcomes(dir string, add []ingest.Outcome) (added, known int, err error) {
	path := filepath.Join(dir, outcomes.file())
	head, rows, err := readPlain(path)
	if err != nil {
		return 0, 0, fmt.Errorf("adding outcomes: %w", err)
	}
	for _, c := range outcomes.columns {
		if !slices.Contains(head, c.Name) {
			head = append(head, c.Name)
		}
	}
	at := func(name string) int { return slices.Index(head, name) }
	have := map[string]int{} // line by site and day
	for i, r := range rows {
		if len(r) > max(at("site_id"), at("called_on")) {
			have[r[at("site_id")]+" "+r[at("called_on")]] = i
		}
	}
	var wrong []error
	for _, o := range add {
		row := make([]string, len(head))
		for name, v := range outcomeCells(&o) {
			row[at(name)] = v
		}
		if i, ok := have[o.SiteID+" "+o.CalledOn.Format(time.DateOnly)]; ok {
			if is := rows[i]; len(is) > at("result") && is[at("result")] != o.Result {
				wrong = append(wrong, fmt.Errorf("%s:%d: site %s, called on %s, has the result %s; the workbook says %s: keep the right one",
					outcomes.file(), i+2, o.SiteID, o.CalledOn.Format(time.DateOnly), is[at("result")], o.Result))
			}
			known++
			continue
		}
		have[o.SiteID+" "+o.CalledOn.Format(time.DateOnly)] = len(rows)
		rows = append(rows, row)
		added++
	}
	if len(wrong) > 0 {
		return 0, 0, fmt.Errorf("adding outcomes: nothing was written:\n%w", errors.Join(wrong...))
	}
	if added == 0 {
		return 0, known, nil
	}
	if err := writePlain(path, head, rows); err != nil {
		return 0, 0, fmt.Errorf("adding outcomes: %w", err)
	}
	return added, known, nil
}

func outcomeCells(o *ingest.Outcome) map[string]string {
	num := func(x float64) string {
		if math.IsNaN(x) {
			return ""
		}
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	whole := func(n ingest.Opt[int]) string {
		if !n.Known {
			return ""
		}
		return strconv.Itoa(n.V)
	}
	day := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.Format(time.DateOnly)
	}
	l := &o.Listed
	return map[string]string{
		"site_id": o.SiteID, "called_on": day(o.CalledOn), "result": o.Result, "reason": o.Reason,
		"modules_sold": whole(o.ModulesSold), "price": num(o.Price), "installed_on": day(o.InstalledOn),
		"list_month": l.Month, "list_rank": whole(l.Rank), "list_tenth": whole(l.Tenth), "list_reason": l.Reason, "offered_modules": whole(l.Modules),
		"offered_kwh_yr": num(l.AddedKWhYr), "offered_saving": num(l.Saving), "offered_saving_low": num(l.SavingLow), "offered_saving_high": num(l.SavingHigh),
		"register_digest": l.Register,
	}
}

// readPlain reads a CSV file as it is; no file is an empty one.
func readPlain(path string) (head []string, rows [][]string, err error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))))
	r.FieldsPerRecord = -1
	head, err = r.Read()
	if errors.Is(err, io.EOF) {
		return nil, nil, nil
	}
	if err == nil {
		rows, err = r.ReadAll()
	}
	if err != nil {
		return nil, nil, fmt.Errorf("reading %s: %w", filepath.Base(path), err)
	}
	return head, rows, nil
}

// writePlain replaces a CSV file, whole or not at all.
func writePlain(path string, head []string, rows [][]string) error {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write(head) // a buffer never fails
	for _, r := range rows {
		for len(r) < len(head) {
			r = append(r, "")
		}
		_ = w.Write(r)
	}
	w.Flush()
	temp, err := os.CreateTemp(filepath.Dir(path), ".outcomes-*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	_, err = temp.Write(b.Bytes())
	if err == nil {
		err = temp.Chmod(0o644)
	}
	if err = errors.Join(err, temp.Sync(), temp.Close()); err != nil {
		return err
	}
	return os.Rename(temp.Name(), path)
}
