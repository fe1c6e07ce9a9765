package plantday

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// secrets collects what the order desk must never read: every raw material,
// base ink, lot, supplier, order and batch, and every price and cost, as an
// administrator sees them. Words that an ink's own title holds are no secret.
func secrets(t *testing.T, s *servertest.Server) (out []string, inks []string) {
	t.Helper()
	ctx, conn := t.Context(), s.As(app.Admin)
	materials, err := pb.NewMaterialServiceClient(conn).ListMaterials(ctx, &pb.ListMaterialsRequest{PageSize: 1000})
	must(t, 0, err)
	for _, m := range materials.Materials {
		if m.MaterialClass == pb.MaterialClass_MATERIAL_CLASS_INK {
			inks = append(inks, m.Name)
			continue
		}
		if m.MaterialClass == pb.MaterialClass_MATERIAL_CLASS_PACKAGING {
			continue // the customer gets the tins
		}
		out = append(out, strings.TrimPrefix(m.Name, "materials/"), m.Title)
		if m.ColourIndex != "" {
			out = append(out, m.ColourIndex)
		}
	}
	lots, err := pb.NewLotServiceClient(conn).ListLots(ctx, &pb.ListLotsRequest{PageSize: 1000})
	must(t, 0, err)
	for _, l := range lots.Lots {
		out = append(out, strings.TrimPrefix(l.Name, "lots/"))
		// A price is told in whole cents, so that a figure finer than a cent can only
		// be a cost; one of whole cents may be an ink's price by chance.
		if c := l.GetCost().GetLandedPerKg(); c.GetNanos()%10_000_000 != 0 {
			out = append(out, fmt.Sprintf(`"units":"%d","nanos":%d`, c.Units, c.Nanos))
		}
	}
	suppliers, err := pb.NewSupplierServiceClient(conn).ListSuppliers(ctx, &pb.ListSuppliersRequest{PageSize: 1000})
	must(t, 0, err)
	for _, x := range suppliers.Suppliers {
		out = append(out, strings.TrimPrefix(x.Name, "suppliers/"), x.Title)
	}
	orders, err := pb.NewPurchasingServiceClient(conn).ListPurchaseOrders(ctx, &pb.ListPurchaseOrdersRequest{PageSize: 1000})
	must(t, 0, err)
	for _, o := range orders.PurchaseOrders {
		out = append(out, strings.TrimPrefix(o.Name, "purchaseOrders/"))
	}
	return append(out, "cost", "margin", "ingredient", "overhead"), inks
}

// spied is an answer or an error, as JSON, that the order desk got. asked is the
// name that it sent itself: to hear it again tells nothing, so long as a name that
// exists is answered like one that does not (see sameForAll).
type spied struct{ from, text, asked string }

// told names the secrets that a text gives away. Space in JSON does not count,
// and an id counts as a whole word only: "soya" is not told by "soyabean".
func told(text string, patterns map[string]*regexp.Regexp) (out []string) {
	text = strings.ReplaceAll(text, `": `, `":`)
	text = strings.ReplaceAll(text, `, "`, `,"`)
	lower := strings.ToLower(text)
	for secret, p := range patterns {
		if strings.Contains(lower, strings.ToLower(secret)) && p.MatchString(text) { // the plain search is a hundred times faster
			out = append(out, secret)
		}
	}
	return out
}

func patterns(secrets []string) map[string]*regexp.Regexp {
	out := map[string]*regexp.Regexp{}
	for _, s := range secrets {
		out[s] = regexp.MustCompile(`(?i)(^|[^a-z0-9-])` + regexp.QuoteMeta(s) + `($|[^a-z0-9-])`)
	}
	return out
}

func TestTheOrderDeskLearnsNothingOfTheLoadedPlant(t *testing.T) {
	s := plant(t)
	_, err := pb.NewQuoteServiceClient(s.As(app.InkMaker)).CreateQuote(t.Context(), &pb.CreateQuoteRequest{QuoteId: "q-desk", Quote: &pb.Quote{
		Customer: "Millgate Press", Formula: "formulas/spot-plum", QuantitiesKg: []float64{25, 120}, ValidUntilDate: "2099-01-01", Pack: "tin-2-5"}})
	must(t, 0, err)
	_, err = pb.NewQuoteServiceClient(s.As(app.InkMaker)).SendQuote(t.Context(), &pb.SendQuoteRequest{Name: "quotes/q-desk"})
	must(t, 0, err)
	secret, inks := secrets(t, s)
	look := patterns(secret)
	costs := 0
	for _, x := range secret {
		if strings.HasPrefix(x, `"units"`) {
			costs++
		}
	}
	if len(inks) < 25 || len(secret) < 300 || costs < 200 || len(told(`the name of the raw material qs-soft`, look)) == 0 {
		t.Fatalf("%d inks, %d secrets: the search itself is broken", len(inks), len(secret))
	}
	sameForAll(t, s)
	answered := 0
	for _, a := range append(refusedOverGRPC(t, s), deskOverREST(t, s, inks)...) {
		answered++
		if leak := told(strings.ReplaceAll(a.text, a.asked, "what was asked for"), look); len(leak) > 0 {
			t.Errorf("%s tells %q: %.600s", a.from, leak, a.text)
		}
	}
	t.Logf("%d answers searched for %d secrets", answered, len(look))
}

// sameForAll checks that the desk can't find out what the plant buys by asking for
// it: a raw material, a base ink and a name that means nothing are answered alike.
func sameForAll(t *testing.T, s *servertest.Server) {
	t.Helper()
	ask := func(id string) string {
		answer := s.REST(app.OrderDesk, http.MethodGet, "/v1/materials/"+id+":leadTime?quantity_kg=5", nil)
		return fmt.Sprint(answer.Status, strings.ReplaceAll(string(answer.Raw), id, "X"))
	}
	nothing := ask("no-such-thing")
	for _, id := range []string{"qs-soft", "pb15-3-green-shade", "base-blue", "tin-1", "work-off-blue"} {
		if got := ask(id); got != nothing {
			t.Errorf("%s is answered %s, a name that means nothing %s", id, got, nothing)
		}
	}
}

// refusedOverGRPC calls every method with the desk's key, empty and with names
// of things that exist; what the desk may not call must be refused as such.
func refusedOverGRPC(t *testing.T, s *servertest.Server) (out []spied) {
	t.Helper()
	protoregistry.GlobalFiles.RangeFilesByPackage("millbase.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for k := range service.Methods().Len() {
				for _, filled := range []bool{false, true} {
					out = append(out, callAsDesk(t, s, service.Methods().Get(k), filled))
				}
			}
		}
		return true
	})
	return out
}

var existing = map[string]string{"materials": "qs-soft", "suppliers": "ostrova", "lots": "l-1001", "specifications": "spot-plum", "formulas": "spot-plum",
	"batches": "b-201", "quotes": "q-desk", "purchaseOrders": "po-112", "keys": "admin", "properties": "tack_units"}

func callAsDesk(t *testing.T, s *servertest.Server, m protoreflect.MethodDescriptor, filled bool) spied {
	t.Helper()
	in, err := protoregistry.GlobalTypes.FindMessageByName(m.Input().FullName())
	must(t, 0, err)
	answer, err := protoregistry.GlobalTypes.FindMessageByName(m.Output().FullName())
	must(t, 0, err)
	request, got, asked := in.New(), answer.New().Interface(), "nothing was asked for"
	if rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule); filled {
		path := rule.GetGet() + rule.GetPost() + rule.GetPatch() + rule.GetPut()
		for collection, id := range existing {
			for _, field := range []protoreflect.Name{"name", "material", "parent"} {
				if fd := m.Input().Fields().ByName(field); fd != nil && fd.Kind() == protoreflect.StringKind && strings.Contains(path, "="+collection+"/*") {
					asked = collection + "/" + id
					request.Set(fd, protoreflect.ValueOfString(asked))
				}
			}
		}
		if fd := m.Input().Fields().ByName("quantity_kg"); fd != nil {
			request.Set(fd, protoreflect.ValueOfFloat64(90000))
		}
	}
	name := fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name())
	err = s.As(app.OrderDesk).Invoke(t.Context(), name, request.Interface(), got)
	access, _ := proto.GetExtension(m.Options(), pb.E_Access).(*pb.Access)
	may := false
	for _, r := range access.GetRoles() {
		may = may || r == pb.Role_ROLE_ORDER_DESK
	}
	if !may && status.Code(err) != codes.PermissionDenied {
		t.Errorf("%s as the order desk: %v, want PermissionDenied", name, err)
	}
	if err != nil {
		return spied{name, protojson.Format(status.Convert(err).Proto()), asked}
	}
	return spied{name, protojson.Format(got), asked}
}

// deskOverREST asks for everything the desk may ask for, with good and bad
// arguments, for every ink, and for what it may not, by every name.
func deskOverREST(t *testing.T, s *servertest.Server, inks []string) (out []spied) {
	t.Helper()
	get := func(path string) int {
		answer := s.REST(app.OrderDesk, http.MethodGet, path, nil)
		out = append(out, spied{path, string(answer.Raw), "nothing was asked for"})
		return answer.Status
	}
	possible := 0
	for _, ink := range inks {
		for _, kg := range []string{"5", "400", "90000", "-1", "0.1234567", "NaN"} {
			if get("/v1/"+ink+":leadTime?quantity_kg="+kg) == http.StatusOK {
				possible++
			}
		}
	}
	if possible < 2*len(inks) {
		t.Errorf("only %d lead times were answered for %d inks", possible, len(inks))
	}
	for _, path := range []string{"/v1/products?page_size=1000", "/v1/products?page_token=x", "/v1/whoami", "/v1/quotes/q-desk:customerCopy", "/v1/quotes/none:customerCopy",
		"/v1/materials/none:leadTime?quantity_kg=5", "/v1/materials/spot-plum:leadTime?quantity_kg=5&from_date=2026-02-30", "/openapi.json"} {
		if get(path); path == "/openapi.json" {
			out = out[:len(out)-1] // it describes every field, costs included, and holds no figure of the plant
		}
	}
	for collection, id := range existing {
		if code := get("/v1/" + collection + "/" + id); code != http.StatusForbidden && code != http.StatusNotFound && code != http.StatusNotImplemented && code != http.StatusMethodNotAllowed {
			t.Errorf("/v1/%s/%s as the order desk: %d", collection, id, code)
		}
	}
	return out
}
