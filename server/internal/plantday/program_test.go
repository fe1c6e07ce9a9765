package plantday

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// program is the millbase command, built as it ships: without cgo.
type program struct {
	path   string
	server *servertest.Server
}

func build(t *testing.T, s *servertest.Server) *program {
	t.Helper()
	p := &program{filepath.Join(t.TempDir(), "millbase"), s}
	compile := exec.Command("go", "build", "-buildvcs=false", "-o", p.path, "millbase/clients/cli")
	compile.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := compile.CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return p
}

// run runs one command line with the key of the role; the empty role has none.
func (p *program) run(t *testing.T, role app.Role, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), p.path, args...)
	cmd.Env = []string{"MILLBASE_SERVER=" + p.server.GRPC, "TZ=UTC"}
	if role != "" {
		cmd.Env = append(cmd.Env, "MILLBASE_KEY="+p.server.Keys[role])
	}
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	var failed *exec.ExitError
	if err := cmd.Run(); err != nil && !errors.As(err, &failed) {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), out.String(), errs.String()
}

// reads lists command lines that read, what their table must show, and the
// message that --json must print. width is the widest line that they may print.
var reads = []struct {
	role  app.Role
	args  string
	shows []string
	json  proto.Message
}{
	{app.InkMaker, "optimise sheetfed-cyan --kg 250 --stock-only", []string{"Cheapest formula", "EUR per kg", "PB15:3", "Proof:"}, &pb.OptimiseResponse{}},
	{app.InkMaker, "optimise sheetfed-cyan --kg 250 --all", []string{"left out", "not used"}, &pb.OptimiseResponse{}},
	{app.InkMaker, "optimise heatset-magenta --kg 400 --set voc<=240", []string{"<= 240"}, &pb.OptimiseResponse{}},
	{app.InkMaker, "optimise sheetfed-cyan --kg 250 --use-up 60d,work-off --premium 1.50", []string{"Used up: a premium of", "its use costs"}, &pb.OptimiseResponse{}},
	{app.InkMaker, "correct b-201 --test tack=11.2 --division 10g", []string{"Add ", "was out", "Cautions", "Proof:"}, &pb.CorrectBatchResponse{}},
	{app.InkMaker, "match 45,35,-12 --on uncoated-white --kg 120 --frontier 3 --plot", []string{"Transparent base", "CIEDE2000 under D50/2", "What nearness costs", "Reflectance:", "Proof:"}, &pb.MatchShadeResponse{}},
	{app.InkMaker, "frontier sheetfed-cyan --kg 250 --limit voc", []string{"EUR per kg", "what changes here", "no longer matters"}, &pb.TraceFrontierResponse{}},
	{app.InkMaker, "frontier sheetfed-cyan --kg 250 --limit tack --side lower", []string{"the lower bound of"}, &pb.TraceFrontierResponse{}},
	{app.InkMaker, "compare sheetfed-cyan optimise:sheetfed-cyan", []string{"cheapest formula", "cost per kg of ink", "limit"}, &pb.CompareFormulasResponse{}},
	{app.InkMaker, "compare batches/b-201 optimise:sheetfed-cyan", []string{"batches/b-201", "cheaper by|cost the same"}, &pb.CompareFormulasResponse{}},
	{app.InkMaker, "specifications", []string{"sheetfed-cyan", "Carton black, very soft"}, &pb.ListSpecificationsResponse{}},
	{app.InkMaker, "specifications sheetfed-cyan", []string{"voc", "never moved|VOC less water"}, &pb.Specification{}},
	{app.InkMaker, "formulas", []string{"spot-plum"}, &pb.ListFormulasResponse{}},
	{app.InkMaker, "formulas spot-plum", []string{"revision 1", "base-violet", "let down"}, &pb.Formula{}},
	{app.InkMaker, "cost spot-plum --kg 120 --pack tin-2-5", []string{"overhead", "48 x Vacuum tin 2.5 kg"}, &pb.FormulaCost{}},
	{app.InkMaker, "batch", []string{"b-201", "planned"}, &pb.ListBatchesResponse{}},
	{app.InkMaker, "batch b-201", []string{"Batch b-201", "reserved"}, &pb.Batch{}},
	{app.Floor, "batch ticket b-201", []string{"BATCH TICKET", "Cautions", "initials"}, &pb.BatchTicket{}},
	{app.Purchasing, "coverage --short", []string{"qs-soft", "To order"}, &pb.Coverage{}},
	{app.Purchasing, "orders", []string{"po-112", "sent", "po-123", "draft"}, &pb.ListPurchaseOrdersResponse{}},
	{app.Purchasing, "orders po-112", []string{"lindholt"}, &pb.PurchaseOrder{}},
	{app.Purchasing, "offers --supplier quellmark", []string{"quellmark/linseed"}, &pb.ListOffersResponse{}},
	{app.Purchasing, "suppliers", []string{"Maraun Trading", "USD"}, &pb.ListSuppliersResponse{}},
	{app.OrderDesk, "lead-time sheetfed-black --kg 250", []string{"ready ", "Decided by"}, &pb.LeadTime{}},
	{app.OrderDesk, "products", []string{"Harbour blue"}, &pb.ListProductsResponse{}},
	{app.Quality, "materials", []string{"PB15:3, green shade"}, &pb.ListMaterialsResponse{}},
	{app.Quality, "materials linseed", []string{"Linseed oil", "Caution:"}, &pb.Material{}},
	{app.Quality, "lots", []string{"l-1001", "quarantined"}, &pb.ListLotsResponse{}},
	{app.Quality, "lots l-1001", []string{"Lot l-1001"}, &pb.Lot{}},
	{app.Quality, "stock", []string{"dry-store"}, &pb.ListBalancesResponse{}},
	{app.Quality, "movements --lot l-1007", []string{"torn bag", "scrap"}, &pb.ListMovementsResponse{}},
	{app.Quality, "check-ledger", []string{"Every balance agrees"}, &pb.CheckLedgerResponse{}},
	{app.InkMaker, "plant", []string{"Bead mill 1", "Tarnbeck"}, &pb.Plant{}},
	{app.Admin, "keys", []string{"order desk"}, &pb.ListKeysResponse{}},
}

// width is the widest line that a screen may print.
const width = 160

func TestTheCommandAsAProgram(t *testing.T) {
	s := plant(t)
	p := build(t, s)
	for _, r := range reads {
		args := strings.Fields(r.args)
		code, out, errs := p.run(t, r.role, args...)
		if code != 0 || errs != "" {
			t.Errorf("millbase %s: left with %d: %s", r.args, code, errs)
			continue
		}
		for _, want := range r.shows {
			found := false
			for _, either := range strings.Split(want, "|") {
				found = found || strings.Contains(out, either)
			}
			if !found {
				t.Errorf("millbase %s does not show %q:\n%.800s", r.args, want, out)
			}
		}
		legible(t, r.args, out)
		code, out, _ = p.run(t, r.role, append(args, "--json")...)
		if err := protojson.Unmarshal([]byte(out), proto.Clone(r.json)); code != 0 || err != nil {
			t.Errorf("millbase %s --json: left with %d: %v", r.args, code, err)
		}
	}
	t.Run("exit codes", func(t *testing.T) { exitCodes(t, p) })
	t.Run("what it changes", func(t *testing.T) { changes(t, p) })
}

// legible holds a screen to what people can read.
func legible(t *testing.T, args, out string) {
	t.Helper()
	for _, line := range strings.Split(out, "\n") {
		if n := utf8.RuneCountInString(line); n > width {
			t.Errorf("millbase %s prints a line of %d: %s", args, n, line)
		}
		for _, slip := range []string{"%!", "<nil>", "NaN", "+Inf", "e+0", "_UNSPECIFIED"} {
			if strings.Contains(line, slip) {
				t.Errorf("millbase %s prints %q: %s", args, slip, line)
			}
		}
	}
}

func exitCodes(t *testing.T, p *program) {
	for _, c := range []struct {
		role app.Role
		args string
		code int
		says string
	}{
		{app.InkMaker, "optimise carton-black-soft --kg 200", 3, ""},
		{app.InkMaker, "optimise carton-black-soft --kg 200 --json", 3, ""},
		{app.InkMaker, "correct b-201 --test tack=11.2 --capacity 640", 3, ""},
		{app.InkMaker, "correct b-201 --test gloss_of_paint=1", 1, "neither a limit nor a property"},
		{app.InkMaker, "correct b-201 --test tack", 2, "--test"},
		{app.OrderDesk, "correct b-201", 1, "may not"},
		{app.OrderDesk, "frontier sheetfed-cyan --limit voc", 1, "may not"},
		{app.InkMaker, "frontier sheetfed-cyan --limit none", 1, "it has"},
		{app.InkMaker, "frontier sheetfed-cyan", 1, "say what moves"},
		{app.Quality, "correct b-201", 1, "may not"},
		{app.InkMaker, "optimise sheetfed-cyan --premium 2", 2, "--use-up"},
		{app.InkMaker, "optimise sheetfed-cyan --use-up soon --premium 2", 2, "30d"},
		{app.InkMaker, "optimise no-such-thing", 1, "no-such-thing"},
		{app.OrderDesk, "optimise sheetfed-cyan", 1, "may not"},
		{app.InkMaker, "optimise sheetfed-cyan --kg -5", 1, "quantity_kg"},
		{app.InkMaker, "optimise sheetfed-cyan --kg 0.1234567", 1, "milligram"},
		{app.InkMaker, "optimise sheetfed-cyan --set gloss<=x", 2, "--set"},
		{app.InkMaker, "optimise sheetfed-cyan --set nonsense<=1", 2, "it has"},
		{"", "materials", 2, "MILLBASE_KEY"},
		{app.Quality, "--server 127.0.0.1:1 materials", 4, "no server answers"},
		{app.Quality, "--key wrong materials", 1, "does not know this API key"},
		{app.Quality, "frobnicate", 2, "unknown command"},
	} {
		code, _, errs := p.run(t, c.role, strings.Fields(c.args)...)
		if code != c.code || !strings.Contains(errs, c.says) {
			t.Errorf("millbase %s: left with %d and %q, want %d and %q", c.args, code, errs, c.code, c.says)
		}
	}
}

// changes runs the command lines that write, in the order of a working day.
func changes(t *testing.T, p *program) {
	for _, c := range []struct {
		role app.Role
		args string
		says string
	}{
		{app.Floor, "receive l-3001 --material linseed --supplier quellmark --kg 180 --at tank-hall --price 1.98EUR --expires 2099-01-01", "in quarantine"},
		{app.Quality, "lots release l-3001 --why tested", "is released"},
		{app.Quality, "lots hold l-3001 --why doubtful", "is held"},
		{app.Quality, "lots release l-3001", "is released"},
		{app.Floor, "move transfer l-3001 --kg 20 --at tank-hall --to main-store", "Posted transfer"},
		{app.Floor, "move issue l-3001 --kg 1 --customer laboratory", "Posted issue"},
		{app.Floor, "move scrap l-3001 --kg 0.5", "Posted scrap"},
		{app.Quality, "move count l-3001 --kg 18 --at main-store", "Posted adjustment"},
		{app.InkMaker, "reserve l-3001 --kg 5 --at tank-hall", "Reserved 5 kg"},
		{app.Purchasing, "orders draft po-900 --offer ostrova/qs-soft --kg 720 --due 2099-01-02", "draft"},
		{app.Purchasing, "orders send po-900", "sent"},
		{app.Purchasing, "orders cancel po-900", "cancelled"},
		{app.InkMaker, "batch plan b-900 --formula spot-plum --kg 20 --due 2099-01-02", "planned"},
		{app.InkMaker, "batch cancel b-900 --why postponed", "cancelled"},
		{app.InkMaker, "quote create q-900 --formula spot-plum --customer Millgate --kg 25,120 --pack tin-2-5", "price per kg"},
		{app.InkMaker, "quote show q-900", "margin"},
		{app.InkMaker, "quote revise q-900 --margin 35", "q-900@2"},
		{app.InkMaker, "quote compare q-900", "margin, % of the price"},
		{app.InkMaker, "quote rebuild q-900@1", "the same to the cent"},
		{app.InkMaker, "quote send q-900", "sent"},
		{app.OrderDesk, "quote customer q-900", "Holds until"},
		{app.OrderDesk, "quote accept q-900 --kg 120", "batch q-900"},
		{app.InkMaker, "quote list", "accepted"},
		{app.Admin, "keys make till --role order-desk", "mb_"},
		{app.Admin, "keys revoke till", "is revoked"},
	} {
		code, out, errs := p.run(t, c.role, strings.Fields(c.args)...)
		if code != 0 || !strings.Contains(out, c.says) {
			t.Errorf("millbase %s: left with %d: %s%s, want %q", c.args, code, out, errs, c.says)
		}
		legible(t, c.args, out)
	}
}
