package purchase_test

import (
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/purchase"
)

func TestOutlook(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 11, n, 0, 0, 0, 0, time.UTC) }
	price := decimal.RequireFromString
	o := purchase.Outlook{Weeks: []purchase.Expected{{Week: day(9), PricePerKg: price("2.10")}, {Week: day(23), PricePerKg: price("1.90")}}}
	if bad := o.Check(); len(bad) > 0 {
		t.Error(bad)
	}
	for date, want := range map[int]string{8: "", 9: "2.10", 22: "2.10", 23: "1.90", 60: "1.90"} {
		got, ok := o.On(day(date))
		if ok != (want != "") || (ok && !got.Equal(price(want))) {
			t.Errorf("on the %dth %s %v, want %q", date, got, ok, want)
		}
	}
	o.Weeks = []purchase.Expected{{Week: day(10), PricePerKg: price("1")}, {Week: day(16), PricePerKg: price("0")}, {Week: day(9), PricePerKg: price("1")}}
	bad := o.Check()
	if len(bad) != 3 || !strings.Contains(bad[0], "is a Tuesday; give the Monday of the week, 2026-11-09") || !strings.Contains(bad[1], "above zero") || !strings.Contains(bad[2], "ascend") {
		t.Errorf("%v", bad)
	}
}
