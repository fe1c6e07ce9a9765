package rpc

import (
	"bytes"
	"encoding/csv"
	"strings"
	"time"

	"millbase/inventory/mass"
	"millbase/server/app"
)

var coverageColumns = []string{"material", "title", "date", "on_hand_kg", "quarantined_kg", "reserved_kg", "safety_stock_kg",
	"required_kg", "expected_kg", "expiring_kg", "projected_kg", "planned_receipt_kg", "planned_release_kg", "planned_projected_kg",
	"past_due_release_kg", "first_short_date", "short_kg"}

// coverageCSV writes the board as a line for each material and period (RFC 4180),
// so that a spreadsheet can turn it round as it likes.
func coverageCSV(c app.Coverage) []byte {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	w.Write(coverageColumns)
	for _, r := range c.Rows {
		for i, date := range c.Periods {
			line := []string{r.Material, cell(r.Title), date.Format(time.DateOnly)}
			for _, m := range []mass.Mass{r.OnHand, r.Quarantined, r.Reserved, r.SafetyStock, r.Required[i], r.Expected[i], r.Expiring[i],
				r.Projected[i], r.PlannedReceipts[i], r.PlannedReleases[i], r.WithPlanned[i], r.PastDue} {
				line = append(line, m.Decimal())
			}
			w.Write(append(line, dateOut(r.FirstShort), r.Short.Decimal()))
		}
	}
	w.Flush()
	return out.Bytes()
}

// cell is a text that a spreadsheet does not take for a formula.
func cell(text string) string {
	if strings.ContainsAny(text[:min(1, len(text))], "=+-@\t\r") {
		return "'" + text
	}
	return text
}
