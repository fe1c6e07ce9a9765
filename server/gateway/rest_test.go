package gateway_test

import (
	"net/http"
	"strings"
	"testing"

	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/serve"
	"millbase/server/servertest"
)

const supplier = `{"title": "Quellmark", "currency_code": "EUR", "lead_time_days": 9}`

func TestPagesWithoutAKey(t *testing.T) {
	s := servertest.Start(t)
	for path, want := range map[string]string{"/healthz": "ok", "/readyz": "ready", "/openapi.json": `"openapi"`, "/metrics": "grpc_server_handled_total"} {
		if got := s.REST("", "GET", path, nil); got.Status != http.StatusOK || !strings.Contains(string(got.Raw), want) {
			t.Errorf("%s: %d %.200s", path, got.Status, got.Raw)
		}
	}
	if got := s.REST("", "GET", "/nowhere", nil); got.Status != http.StatusNotFound || got.Body["code"] != "NOT_FOUND" {
		t.Errorf("an unknown path: %d %s", got.Status, got.Raw)
	}
	health, err := healthpb.NewHealthClient(s.As("")).Check(t.Context(), &healthpb.HealthCheckRequest{})
	if err != nil || health.GetStatus() != healthpb.HealthCheckResponse_SERVING {
		t.Errorf("gRPC health without a key: %v %v", health, err)
	}
}

func TestRequestsThatCannotBeRead(t *testing.T) {
	s := servertest.StartWith(t, servertest.Options{Serve: serve.Config{MaxBody: 4096}})
	for name, c := range map[string]struct {
		method, path string
		body         any
		status       int
		reason, text string
	}{
		"unknown field":     {"POST", "/v1/suppliers?supplier_id=q", `{"titel": "x"}`, 400, "UNREADABLE", `no field "titel"`},
		"unknown parameter": {"GET", "/v1/suppliers?fliter=archived", nil, 400, "UNREADABLE", `no field "fliter"`},
		"no JSON":           {"POST", "/v1/suppliers?supplier_id=q", `{"title": `, 400, "UNREADABLE", "can't be read"},
		"a wrong type":      {"POST", "/v1/suppliers?supplier_id=q", `{"lead_time_days": "soon"}`, 400, "UNREADABLE", "lead_time_days"},
		"not a number":      {"GET", "/v1/suppliers?page_size=many", nil, 400, "UNREADABLE", "page_size"},
		"too large":         {"POST", "/v1/suppliers?supplier_id=q", `{"title": "` + strings.Repeat("x", 5000) + `"}`, 413, "", "too large"},
		"a wrong method":    {"DELETE", "/v1/suppliers", nil, 405, "", "not for this path"},
		"nothing there":     {"GET", "/v1/supplies", nil, 404, "", "nothing at this path"},
		"rules":             {"POST", "/v1/suppliers?supplier_id=Q", supplier, 400, "INVALID_ARGUMENT", "supplier_id: use 1 to 63"},
		"a far number":      {"POST", "/v1/lots:receive", `{"lot_id":"l","lot":{"material":"materials/m"},"quantity_kg":1e999,"location":"a"}`, 400, "UNREADABLE", "quantity_kg"},
		"NaN":               {"POST", "/v1/lots:receive", `{"lot_id":"l","lot":{"material":"materials/m"},"quantity_kg":"NaN","location":"a"}`, 400, "INVALID_ARGUMENT", "quantity_kg"},
	} {
		got := s.REST(app.Admin, c.method, c.path, c.body)
		detail, _ := got.Body["detail"].(string)
		reason, _ := got.Body["reason"].(string)
		if got.Status != c.status || reason != c.reason || !strings.Contains(detail, c.text) || got.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %d %s", name, got.Status, got.Raw)
		}
		if strings.Contains(detail, "proto:") || strings.Contains(detail, "strconv") {
			t.Errorf("%s: %q is not for people", name, detail)
		}
	}
}

func TestEtags(t *testing.T) {
	s := servertest.Start(t)
	const path = "/v1/suppliers/quellmark"
	made := s.REST(app.Purchasing, "POST", "/v1/suppliers?supplier_id=quellmark", supplier)
	if made.Status != http.StatusOK || made.Body["lead_time_days"] != float64(9) {
		t.Fatalf("creating: %d %s", made.Status, made.Raw)
	}
	if archived, shown := made.Body["archived"]; !shown || archived != false {
		t.Errorf("a field that is false is not shown: %s", made.Raw)
	}
	read := s.REST(app.Purchasing, "GET", path, nil)
	tag := read.Header.Get("Etag")
	if !strings.HasPrefix(tag, `"v1.`) {
		t.Fatalf("ETag %q", tag)
	}
	for header, want := range map[string]int{tag: 304, "W/" + tag: 304, `"other", ` + tag: 304, "*": 304, `"v1"`: 200} {
		got := s.REST(app.Purchasing, "GET", path, nil, "If-None-Match", header)
		if got.Status != want || want == 304 && len(got.Raw) > 0 {
			t.Errorf("If-None-Match %s: %d with %d bytes", header, got.Status, len(got.Raw))
		}
	}
	if got := s.REST(app.Purchasing, "PATCH", path, `{"title": "New"}`, "If-Match", tag); got.Status != 200 || got.Body["title"] != "New" || got.Body["lead_time_days"] != float64(9) {
		t.Errorf("a change with the etag: %d %s", got.Status, got.Raw)
	}
	for name, c := range map[string]struct {
		body, header string
		status       int
		reason       string
	}{
		"stale header":    {`{"title": "Newer"}`, tag, 412, "STALE_ETAG"},
		"stale body":      {`{"title": "Newer", "etag": "v1"}`, "", 412, "STALE_ETAG"},
		"a wrong etag":    {`{"title": "Newer", "etag": "never"}`, "", 400, "INVALID_ARGUMENT"},
		"two that differ": {`{"title": "Newer", "etag": "v2"}`, `"v3"`, 400, "UNREADABLE"},
		"several":         {`{"title": "Newer"}`, `"v1", "v2"`, 400, "UNREADABLE"},
	} {
		headers := []string{}
		if c.header != "" {
			headers = []string{"If-Match", c.header}
		}
		if got := s.REST(app.Purchasing, "PATCH", path, c.body, headers...); got.Status != c.status || got.Body["reason"] != c.reason {
			t.Errorf("%s: %d %s", name, got.Status, got.Raw)
		}
	}
	if got := s.REST(app.Purchasing, "PATCH", path, `{"title": "Newer", "etag": "v2"}`, "If-Match", "*"); got.Status != 200 {
		t.Errorf("a change with the etag in the body: %d %s", got.Status, got.Raw)
	}
	if got := s.REST(app.Purchasing, "GET", path, nil); got.Body["title"] != "Newer" || got.Body["etag"] != "v3" {
		t.Errorf("in the end: %s", got.Raw)
	}
}

// Calls over REST are counted like those over gRPC.
func TestRESTIsCounted(t *testing.T) {
	s := servertest.Start(t)
	s.REST(app.Floor, "GET", "/v1/whoami", nil)
	if _, err := pb.NewPlantServiceClient(s.As(app.Floor)).WhoAmI(t.Context(), &pb.WhoAmIRequest{}); err != nil {
		t.Fatal(err)
	}
	want := `grpc_server_handled_total{grpc_code="OK",grpc_method="WhoAmI",grpc_service="millbase.v1.PlantService",grpc_type="unary"} 2`
	if got := s.REST("", "GET", "/metrics", nil); !strings.Contains(string(got.Raw), want) {
		t.Errorf("the metrics lack %s", want)
	}
}
