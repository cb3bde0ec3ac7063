package report

import (
	"fmt"
	"strings"

	"github.com/xuri/excelize/v2"
)

// readFirst writes what to know before the first call, and what each column is.
func (b *workbook) readFirst(m Manifest) error {
	at := 1
	for _, line := range []struct {
		says  string
		style int
	}{
		{"Call list " + monthInWords(m.Month), b.title},
		{Caution, b.wrap},
		{"Lane \"call\": worth it, and nothing stands in the way. Lane \"prepare\": worth it, but what stands under \"" + b.headOf("ask_first") + "\" is found out and what stands under \"" + b.headOf("enabling_jobs") + "\" is done first. What stands under \"" + b.headOf("check_on_site") + "\" is asked as a matter of course.", b.wrap},
		{"After a call fill in \"" + b.headOf("result") + "\" (choose from the list), \"" + b.headOf("called_on") + "\" and, where you like, \"" + b.headOf("notes") + "\", on one sheet or the other. Then run: rowen outcomes FLEET " + "call_list.xlsx. Next month's list takes account of it: sold leaves the list, declined and not suitable rest, no answer comes back.", b.wrap},
		{"(low) and (high) are the ends of a 90 % interval: the true value is expected between them nine times in ten. Money is in " + m.Currency + ".", b.wrap},
		{"The list holds names and contacts: treat it as personal data.", b.wrap},
	} {
		if err := b.text(firstSheet, 1, at, line.says, line.style); err != nil {
			return err
		}
		if err := b.MergeCell(firstSheet, fmt.Sprintf("A%d", at), fmt.Sprintf("D%d", at)); err != nil {
			return err
		}
		high := float64(lines(line.says, readFirstAcross)) * lineHeight
		if line.style == b.title {
			high *= 1.6
		}
		if err := b.SetRowHeight(firstSheet, at, high); err != nil {
			return err
		}
		at++
	}
	at++
	for i, h := range []string{"column", "in call_list.csv", "unit", "what it is"} {
		if err := b.text(firstSheet, i+1, at, h, b.head); err != nil {
			return err
		}
	}
	for _, c := range b.cols {
		at++
		for i, s := range []string{c.Head, c.Name, strings.ReplaceAll(c.Unit, "currency", m.Currency), c.Says} {
			if err := b.text(firstSheet, i+1, at, s, b.wrap); err != nil {
				return err
			}
		}
		if err := b.SetRowHeight(firstSheet, at, float64(lines(c.Says, readFirstWide[3]))*lineHeight); err != nil {
			return err
		}
	}
	for i, wide := range readFirstWide {
		name, err := excelize.ColumnNumberToName(i + 1)
		if err != nil {
			return err
		}
		if err := b.SetColWidth(firstSheet, name, name, float64(wide)); err != nil {
			return err
		}
	}
	fit, one, none := true, 1, 0
	if err := b.SetSheetProps(firstSheet, &excelize.SheetPropsOptions{FitToPage: &fit}); err != nil {
		return err
	}
	return b.SetPageLayout(firstSheet, &excelize.PageLayoutOptions{FitToWidth: &one, FitToHeight: &none})
}

// readFirstWide are the widths of the sheet to read first, readFirstAcross what a
// text across them holds, with room for wide letters.
var readFirstWide = []int{22, 26, 12, 70}

const readFirstAcross = 120

func (b *workbook) headOf(column string) string {
	for _, c := range b.cols {
		if c.Name == column {
			return c.Head
		}
	}
	return column
}
