package report

import (
	"strconv"

	"github.com/xuri/excelize/v2"
)

// keptColumns are those of the hidden sheet: what the list said of each site
// when it was made, so that an outcome is written down with it however the
// visible sheets have been sorted, filtered or cut.
var keptColumns = []string{"list_month", "site_id", "list_rank", "list_tenth", "list_reason", "offered_modules", "offered_kwh_yr",
	"offered_saving", "offered_saving_low", "offered_saving_high", "register_digest"}

func (b *workbook) keep(rows []CallRow, m Manifest) error {
	if _, err := b.NewSheet(keptSheet); err != nil {
		return err
	}
	number := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
	for i, name := range keptColumns {
		if err := b.text(keptSheet, i+1, 1, name, b.head); err != nil {
			return err
		}
	}
	for at := range rows {
		r, l := &rows[at], &rows[at].listed
		for i, s := range []string{m.Month, r.SiteID, strconv.Itoa(int(l.RankOf)), strconv.Itoa(l.Tenth), l.Reason, strconv.Itoa(int(l.ModulesToAdd)),
			number(l.AddedKWhYr), number(l.Saving), number(l.SavingLow), number(l.SavingHigh), l.Register} {
			cell, err := excelize.CoordinatesToCellName(i+1, at+2)
			if err != nil {
				return err
			}
			if err := b.SetCellStr(keptSheet, cell, s); err != nil {
				return err
			}
		}
	}
	return b.SetSheetVisible(keptSheet, false, true)
}
