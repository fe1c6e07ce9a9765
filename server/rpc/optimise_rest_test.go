package rpc_test

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"millbase/server/app"
	"millbase/server/servertest"
)

// twoVarnishes is a request as a program would send it: tack of two varnishes.
const twoVarnishes = `{"quantity_kg": 100, "currency_code": "EUR",
	"limits": [{"limit_id": "tack", "title": "tack", "lower": 9, "upper": %s, "blended": {"property": "tack_units"}}],
	"candidates": [
		{"candidate_id": "soft", "properties": {"tack_units": 6}, "price_per_kg": {"units": "2", "nanos": 500000000}},
		{"candidate_id": "hard", "properties": {"tack_units": 14}, "price_per_kg": {"units": "4"}, "available_kg": 30}]}`

func TestOptimiseOverREST(t *testing.T) {
	s := servertest.Start(t)
	ask := func(role app.Role, body string) servertest.Response {
		return s.REST(role, http.MethodPost, "/v1/formulas:optimise", body)
	}
	good := ask(app.InkMaker, fmt.Sprintf(twoVarnishes, "12"))
	// By hand: 62.5 kg at 6 and 37.5 kg at 14 make 9, but only 30 kg are there.
	if good.Status != http.StatusOK || good.Body["outcome"] != "OPTIMISE_OUTCOME_INFEASIBLE" ||
		!bytes.Contains(good.Raw, []byte("get 7.5 kg more of hard")) && !bytes.Contains(good.Raw, []byte("Get 7.5 kg more of hard")) {
		t.Errorf("%d %s", good.Status, good.Raw)
	}
	enough := ask(app.InkMaker, strings.Replace(fmt.Sprintf(twoVarnishes, "12"), `"available_kg": 30`, `"available_kg": 40`, 1))
	// 62.5 x 2.50 + 37.5 x 4.00 = 306.25.
	if total, _ := enough.Body["total_cost"].(map[string]any); enough.Body["outcome"] != "OPTIMISE_OUTCOME_OPTIMAL" || fmt.Sprint(total["units"]) != "306" || fmt.Sprint(total["nanos"]) != "2.5e+08" {
		t.Errorf("%d %s", enough.Status, enough.Raw)
	}
	for _, number := range []string{"1e300", `"NaN"`, `"Infinity"`, "8"} {
		if bad := ask(app.InkMaker, fmt.Sprintf(twoVarnishes, number)); bad.Status != http.StatusBadRequest || !bytes.Contains(bad.Raw, []byte("limits[0]")) {
			t.Errorf("%s: %d %s", number, bad.Status, bad.Raw)
		}
	}
	if denied := ask(app.OrderDesk, fmt.Sprintf(twoVarnishes, "12")); denied.Status != http.StatusForbidden || bytes.Contains(denied.Raw, []byte("hard")) {
		t.Errorf("%d %s", denied.Status, denied.Raw)
	}
}
