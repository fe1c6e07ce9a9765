package plantday

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/reflect/protoreflect"

	"millbase/clients/figures"
	"millbase/clients/paper"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// figuresOf collects how everything in a message could stand on paper: words, and
// amounts to the cent, to a hundredth of it, and exactly.
func figuresOf(m protoreflect.Message, out map[string]bool) {
	if x, ok := m.Interface().(*money.Money); ok {
		for _, places := range []int{2, 4, 9} {
			out[figures.CashNumber(x, places)] = true
		}
		return
	}
	add := func(fd protoreflect.FieldDescriptor, v protoreflect.Value) {
		switch {
		case fd.Message() != nil:
			figuresOf(v.Message(), out)
		case fd.Kind() == protoreflect.StringKind:
			out[v.String()] = true
			out[v.String()[strings.LastIndex(v.String(), "/")+1:]] = true
		case fd.Kind() == protoreflect.DoubleKind:
			out[figures.Fixed(v.Float(), 3)], out[figures.Fixed(100*v.Float(), 4)] = true, true
		}
	}
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if !fd.IsList() {
			add(fd, v)
			return true
		}
		for i := range v.List().Len() {
			add(fd, v.List().Get(i))
		}
		return true
	})
}

var styleElement = regexp.MustCompile(`(?s)<style>.*?</style>`)

// The customer copy of a matched shade, as the order desk prints it, tells none of
// the plant's secrets and nothing of the internal quote that is not the customer's.
func TestACustomerCopyOnPaperTellsNothing(t *testing.T) {
	s := plant(t)
	p, maker := build(t, s), pb.NewQuoteServiceClient(s.As(app.InkMaker))
	first, err := maker.CreateQuote(t.Context(), harbourBlue(func(r *pb.CreateQuoteRequest) { r.QuoteId = "q-first" }))
	must(t, 0, err)
	code, out, said := p.run(t, app.InkMaker, "quote", "create", "q-blue", "--shade", sample(t, first.Shade.PredictedCurve)+"#quay", "--on", "uncoated-white", "--kg", "120,25,60",
		"--pack", "tin-2-5", "--laboratory", "--title", "Quay blue", "--customer", "Millgate Press", "--ink", "quay-blue", "--offer", "closest", "--within", "0.8")
	if code != 0 || !strings.Contains(out, "matched to a shade") {
		t.Fatalf("quote create --shade: %d %s %s", code, out, said)
	}
	q, err := maker.SendQuote(t.Context(), &pb.SendQuoteRequest{Name: "quotes/q-blue"})
	must(t, 0, err)
	seen, err := pb.NewQuoteServiceClient(s.As(app.OrderDesk)).GetCustomerQuote(t.Context(), &pb.GetCustomerQuoteRequest{Name: "quotes/q-blue"})
	must(t, 0, err)
	folder := filepath.Join(t.TempDir(), "quotes")
	if x := q.Shade; x.Material != "materials/quay-blue" || x.Offer != pb.ShadeOfferKind_SHADE_OFFER_KIND_CLOSEST || x.ToleranceDe00 != 0.8 || x.TargetCurve == nil || x.Metamerism == nil || x.Match.QuantityKg != 120 {
		t.Errorf("quoted is %v", x)
	}
	printed(t, p, app.OrderDesk, folder, "customer")
	printed(t, p, app.InkMaker, folder, "internal")
	if code, out, said := p.run(t, app.OrderDesk, "quote", "print", "q-blue", "--copy", "internal", "--to", folder, "--html-only"); code == 0 || strings.Contains(out, "written") {
		t.Errorf("the order desk printed the internal copy: %s %s", out, said)
	}
	if code, _, said := p.run(t, app.InkMaker, "quote", "create", "q-x", "--on", "uncoated-white", "--kg", "5", "--customer", "x"); code == 0 || !strings.Contains(said, "--shade") {
		t.Errorf("a paper without a shade: %d %s", code, said)
	}
	if code, _, said := p.run(t, app.InkMaker, "quote", "print", "q-blue", "--copy", "both", "--html-only"); code == 0 || !strings.Contains(said, "use customer or internal") {
		t.Errorf("a copy that is not known: %d %s", code, said)
	}
	outside, inside := read(t, folder, "q-blue-r1-customer.html"), read(t, folder, "q-blue-r1-internal.html")
	all, customers, hidden := map[string]bool{}, map[string]bool{}, []string{"materials/", "lots/", "cost", "margin"}
	figuresOf(q.ProtoReflect(), all)
	figuresOf(seen.ProtoReflect(), customers)
	for value := range all {
		if len(value) > 3 && !customers[value] && strings.Trim(value, "0.") != "" {
			hidden = append(hidden, value)
		}
	}
	secret, _ := secrets(t, s)
	look := patterns(append(hidden, secret...))
	if leak := told(outside, look); len(leak) > 0 {
		t.Errorf("the customer copy tells %q", leak)
	}
	if n := len(told(inside, look)); n < 40 {
		t.Errorf("the search found only %d of what stands in the internal copy: it is itself broken", n)
	}
	for _, want := range []string{seen.PlantTitle, seen.Title, seen.Customer, seen.Shade.InWords, figures.CashNumber(seen.Prices[0].Price, 2), seen.Cautions[0]} {
		if !strings.Contains(outside, want) {
			t.Errorf("the customer copy lacks %q", want)
		}
	}
}

// sample writes a measurement file with one colour, a little lighter than the curve.
func sample(t *testing.T, c *pb.Curve) string {
	t.Helper()
	head, row := "name", "quay"
	for i, v := range c.Values {
		head += fmt.Sprintf(",%d", int(c.FirstNm)+i*int(c.StepNm))
		row += fmt.Sprintf(",%.5f", 1.02*v)
	}
	path := filepath.Join(t.TempDir(), "customer.csv")
	must(t, 0, os.WriteFile(path, []byte(head+"\n"+row+"\n"), 0o600))
	return path
}

// printed prints a copy and holds it to one A4 page with its picture.
func printed(t *testing.T, p *program, role app.Role, folder, kind string) {
	t.Helper()
	browser, err := exec.LookPath("chromium") // make install brings it
	must(t, 0, err)
	code, out, said := p.run(t, role, "quote", "print", "q-blue", "--copy", kind, "--to", folder, "--browser", browser)
	if code != 0 {
		t.Fatalf("quote print --copy %s: %d %s", kind, code, said)
	}
	for _, suffix := range []string{".html", ".pdf", "-shade.svg", "-shade.png"} {
		name := fmt.Sprintf("q-blue-r1-%s%s", kind, suffix)
		if !strings.Contains(out, filepath.Join(folder, name)) || len(read(t, folder, name)) < 500 {
			t.Errorf("%s is not there, or not named in %s", name, out)
		}
	}
	if n := paper.Pages([]byte(read(t, folder, fmt.Sprintf("q-blue-r1-%s.pdf", kind)))); n != 1 {
		t.Errorf("the %s copy has %d pages", kind, n)
	}
}

func read(t *testing.T, folder, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	return styleElement.ReplaceAllString(string(text), "")
}
