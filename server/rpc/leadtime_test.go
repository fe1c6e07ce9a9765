package rpc_test

import (
	"fmt"
	"net/url"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// The drier of 1.25 kg is due on the 4th. From 08:00 on: let-down 2 h, test 1 h,
// canning 37.5 min; released a working day later, on the 5th.
func TestLeadTimeOverREST(t *testing.T) {
	s := works(t)
	for role, reason := range map[app.Role]string{
		app.OrderDesk:  "Waits for a raw material, due 4 November. 30 kg of it can be had from stock at once.",
		app.Purchasing: "Waits for Secret drier, due 4 November on purchase order po-118. 30 kg of it can be had from stock at once.",
		app.InkMaker:   "Waits for Secret drier, due 4 November on purchase order po-118. 30 kg of it can be had from stock at once.",
	} {
		got := s.REST(role, "GET", "/v1/materials/cyan:leadTime?quantity_kg=130", nil)
		if got.Status != 200 || got.Body["possible"] != true || got.Body["ready_date"] != "2026-11-05" || got.Body["ready_time"] != "2026-11-05T11:37:30Z" ||
			got.Body["decided_by"] != "DECIDED_BY_MATERIAL" || got.Body["reason"] != reason || got.Body["from_stock_kg"] != 30.0 || got.Body["to_make_kg"] != 100.0 {
			t.Errorf("%s: %d %s", role, got.Status, got.Raw)
		}
		if got.Body["price_per_kg"] == nil {
			t.Errorf("%s: the price is missing in %s", role, got.Raw)
		}
	}
	if got := s.REST(app.OrderDesk, "GET", "/v1/materials/cyan:leadTime?quantity_kg=20&from_date=2026-11-07", nil); got.Body["ready_date"] != "2026-11-09" ||
		got.Body["decided_by"] != "DECIDED_BY_FINISHED_STOCK" {
		t.Errorf("from stock, not before a Saturday: %s", got.Raw)
	}
	for path, want := range map[string]int{
		"/v1/materials/cyan:leadTime":                                    400,
		"/v1/materials/cyan:leadTime?quantity_kg=-5":                     400,
		"/v1/materials/cyan:leadTime?quantity_kg=NaN":                    400,
		"/v1/materials/cyan:leadTime?quantity_kg=0.0000001":              400,
		"/v1/materials/cyan:leadTime?quantity_kg=5&from_date=2020-01-01": 400,
		"/v1/materials/nothing:leadTime?quantity_kg=5":                   404,
		"/v1/materials/secret-blue:leadTime?quantity_kg=5":               404,
	} {
		if got := s.REST(app.OrderDesk, "GET", path, nil); got.Status != want {
			t.Errorf("%s: %d %s, want %d", path, got.Status, got.Raw, want)
		}
	}
	for _, role := range []app.Role{app.Quality, app.Floor} {
		if got := s.REST(role, "GET", "/v1/materials/cyan:leadTime?quantity_kg=5", nil); got.Status != 403 {
			t.Errorf("%s: %d", role, got.Status)
		}
	}
}

func TestListProducts(t *testing.T) {
	s := works(t)
	for _, role := range []app.Role{app.OrderDesk, app.Floor, app.Quality} {
		got := must[*pb.ListProductsResponse](t)(pb.NewLeadTimeServiceClient(s.As(role)).ListProducts(t.Context(), &pb.ListProductsRequest{PageSize: 1}))
		want := &pb.Product{Material: "materials/cyan", Title: "Sheetfed cyan", InStockKg: 30}
		if len(got.GetProducts()) != 1 || !proto.Equal(got.GetProducts()[0], want) || got.GetNextPageToken() != "" {
			t.Errorf("%s: %v", role, got)
		}
	}
}

// deskPaths are the REST paths of every method that an order desk's key may
// call, by method; many of them are bad requests on purpose.
var deskPaths = map[string][]string{
	"LeadTimeService.GetLeadTime": {
		"/v1/materials/cyan:leadTime?quantity_kg=10", "/v1/materials/cyan:leadTime?quantity_kg=130", "/v1/materials/cyan:leadTime?quantity_kg=100000",
		"/v1/materials/cyan:leadTime?quantity_kg=900000000", "/v1/materials/cyan:leadTime", "/v1/materials/none:leadTime?quantity_kg=1",
		"/v1/materials/cyan:leadTime?quantity_kg=1&from_date=x",
	},
	"LeadTimeService.ListProducts":    {"/v1/products", "/v1/products?page_size=-1", "/v1/products?page_token=x"},
	"QuoteService.GetCustomerQuote":   {"/v1/quotes/q-1:customerCopy", "/v1/quotes/none:customerCopy", "/v1/quotes/q-2:customerCopy", "/v1/quotes/q-1@7:customerCopy"},
	"QuoteService.ListCustomerQuotes": {"/v1/customerQuotes", "/v1/customerQuotes?filter=state=sent", "/v1/customerQuotes?filter=title=x"},
	"QuoteService.AcceptQuote":        {"/v1/quotes/q-1:accept", "/v1/quotes/q-2:accept", "/v1/quotes/none:accept"},
	"PlantService.WhoAmI":             {"/v1/whoami"},
}

// Whatever an order desk's key may call, and however it goes, nothing that it
// answers holds an id or a title of a raw material, a lot, a supplier, a
// formula, a machine or an order.
func TestTheOrderDeskLearnsNoSecret(t *testing.T) {
	s := works(t)
	must[*pb.Quote](t)(pb.NewQuoteServiceClient(s.As(app.InkMaker)).CreateQuote(t.Context(), quoteRequest()))
	protoregistry.GlobalFiles.RangeFilesByPackage("millbase.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			for k := range file.Services().Get(i).Methods().Len() {
				m := file.Services().Get(i).Methods().Get(k)
				name := fmt.Sprintf("%s.%s", file.Services().Get(i).Name(), m.Name())
				for _, role := range proto.GetExtension(m.Options(), pb.E_Access).(*pb.Access).GetRoles() {
					if role == pb.Role_ROLE_ORDER_DESK && len(deskPaths[name]) == 0 {
						t.Errorf("the order desk may call %s, and no path of it is walked here", name)
					}
				}
			}
		}
		return true
	})
	walk := func(s *servertest.Server) {
		t.Helper()
		for _, paths := range deskPaths {
			for _, path := range paths {
				got := s.REST(app.OrderDesk, "GET", path, nil)
				if _, err := url.Parse(path); err != nil || len(got.Raw) == 0 {
					t.Errorf("%s: no answer", path)
				}
				for _, secret := range []string{"secret", "quellmark", "po-118", "lot-of", "recipe", "1166", "1266", "11.66", "cost", "margin", "formula"} {
					if strings.Contains(strings.ToLower(string(got.Raw)), secret) {
						t.Errorf("%s tells %q: %s", path, secret, got.Raw)
					}
				}
			}
		}
	}
	walk(s)
	// The same when a material can't be had at all, and when the plant is not set up.
	must[*pb.PurchaseOrder](t)(pb.NewPurchasingServiceClient(s.As(app.Purchasing)).CancelPurchaseOrder(t.Context(),
		&pb.CancelPurchaseOrderRequest{Name: "purchaseOrders/po-118"}))
	walk(s)
	plant := pb.NewPlantServiceClient(s.As(app.Admin))
	p := worksPlant()
	p.Machines = p.Machines[:1]
	must[*pb.Plant](t)(plant.UpdatePlant(t.Context(), &pb.UpdatePlantRequest{Plant: p}))
	walk(s)
	p.Shifts = nil
	must[*pb.Plant](t)(plant.UpdatePlant(t.Context(), &pb.UpdatePlantRequest{Plant: p}))
	walk(s)
}
