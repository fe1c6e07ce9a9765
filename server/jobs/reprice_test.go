package jobs_test

import (
	"net/http"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/jobs"
	"millbase/server/servertest"
)

// The repriced book as an operation, over REST: started, waited for, answered as the
// call answers; the same request id starts it once; a bad question is refused at
// once; the metrics count it.
func TestRepricingOverREST(t *testing.T) {
	s := servertest.StartWith(t, servertest.Options{Jobs: &jobs.Config{}})
	body := `{"reprice": {"max_formulas": 5}, "request_id": "0190f2c4-7f4e-7c1a-9d3e-5b6a7c8d9e0f"}`
	started := s.REST(app.Purchasing, "POST", "/v1/formulas:startRepricing", body)
	name, _ := started.Body["name"].(string)
	if started.Status != http.StatusOK || !strings.HasPrefix(name, "operations/") {
		t.Fatalf("%d %s", started.Status, started.Raw)
	}
	if again := s.REST(app.Purchasing, "POST", "/v1/formulas:startRepricing", body); again.Body["name"] != name {
		t.Errorf("the same request id started another one: %s", again.Raw)
	}
	done := s.REST(app.Purchasing, "POST", "/v1/"+name+":wait", `{"timeout": "20s"}`)
	response, _ := done.Body["response"].(map[string]any)
	if done.Body["done"] != true || response["@type"] != "type.googleapis.com/millbase.v1.RepriceBookResponse" || response["currency_code"] != "EUR" {
		t.Fatalf("%d %s", done.Status, done.Raw)
	}
	if meta, _ := done.Body["metadata"].(map[string]any); meta["kind"] != "reprice_book" || meta["state"] != "OPERATION_STATE_SUCCEEDED" {
		t.Errorf("%s", done.Raw)
	}
	if list := s.REST(app.Purchasing, "GET", "/v1/operations", nil); len(list.Body["operations"].([]any)) != 1 {
		t.Errorf("%s", list.Raw)
	}
	if desk := s.REST(app.OrderDesk, "GET", "/v1/"+name, nil); desk.Status != http.StatusForbidden || strings.Contains(string(desk.Raw), "response") {
		t.Errorf("the order desk gets %d %s", desk.Status, desk.Raw)
	}
	metrics := string(s.REST("", "GET", "/metrics", nil).Raw)
	if !strings.Contains(metrics, `millbase_operation_attempts_total{kind="reprice_book",outcome="succeeded"} 1`) {
		t.Error("the metrics do not count it")
	}

	_, err := pb.NewRepricingServiceClient(s.As(app.Purchasing)).StartRepricing(t.Context(), &pb.StartRepricingRequest{
		Reprice: &pb.RepriceBookRequest{Changes: []*pb.PriceChange{{Material: "materials/none-such", Percent: 5}}}})
	if status.Code(err) != codes.InvalidArgument || !strings.Contains(err.Error(), "reprice.changes[0].material") {
		t.Errorf("a material that is not there: %v", err)
	}
}
