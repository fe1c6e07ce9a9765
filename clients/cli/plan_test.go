package main

import (
	"errors"
	"testing"
)

func TestPlanChanges(t *testing.T) {
	got, err := planChanges([]string{"po-1=10", "purchaseOrders/po-2=3d"}, []string{"materials/soya=+8%"}, []string{"l-1"}, []string{"b-7=2030-03-01"})
	if err != nil || len(got) != 5 {
		t.Fatalf("%v %v", got, err)
	}
	if got[0].GetLate().PurchaseOrder != "purchaseOrders/po-1" || got[1].GetLate().Days != 3 || got[2].GetPrice().Of != "materials/soya" ||
		got[2].GetPrice().Percent != 8 || got[3].GetRejectedLot() != "lots/l-1" || got[4].GetDue().Batch != "batches/b-7" || got[4].GetDue().DueDate != "2030-03-01" {
		t.Errorf("%v", got)
	}
	for _, bad := range [][4][]string{{{"po-1"}}, {{"po-1=soon"}}, {nil, {"soya"}}, {nil, {"soya=dear"}}, {nil, nil, nil, {"b-7"}}} {
		var usage *exit
		if _, err := planChanges(bad[0], bad[1], bad[2], bad[3]); !errors.As(err, &usage) || usage.code != exitUsage {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

func TestParseForecast(t *testing.T) {
	f, err := parseForecast("materials/linseed@2030-01-04=+6%")
	if err != nil || f.Of != "materials/linseed" || f.FromDate != "2030-01-04" || f.GetPercent() != 6 {
		t.Errorf("%v %v", f, err)
	}
	f, err = parseForecast("suppliers/a/offers/o@2030-01-04=3.10EUR")
	if err != nil || f.Of != "suppliers/a/offers/o" || f.GetPricePerKg().GetUnits() != 3 || f.GetPricePerKg().GetCurrencyCode() != "EUR" {
		t.Errorf("%v %v", f, err)
	}
	for _, bad := range []string{"", "linseed=+6%", "materials/linseed@2030-01-04", "materials/linseed@2030-01-04=lots"} {
		if f, err := parseForecast(bad); err == nil {
			t.Errorf("%q reads as %v", bad, f)
		}
	}
}
