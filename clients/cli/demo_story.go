package main

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"millbase/clients/demo"
	pb "millbase/proto/millbase/v1"
)

// play shows what each user asks and what each would see.
func (s *stage) play(ctx context.Context) error {
	maker, buyer, desk, floor := pb.Role_ROLE_INK_MAKER, pb.Role_ROLE_PURCHASING, pb.Role_ROLE_ORDER_DESK, pb.Role_ROLE_FLOOR
	colour, err := s.customersColour()
	if err != nil {
		return err
	}
	quote, plan := "q-"+s.stamp(), "plan-"+s.stamp()
	shade := []string{"--on", "uncoated-white", "--specification", "spot-any-shade", "--stock-only"}
	for _, scene := range []scene{
		{"THE INK MAKER: the cheapest sheetfed cyan from the lots that I have?", maker, []string{"optimise", "sheetfed-cyan", "--kg", "250", "--stock-only"}, 0},
		{"... and as I can weigh it: whole divisions of my scales, nothing under 50 g?", maker,
			[]string{"optimise", "sheetfed-cyan", "--kg", "250", "--stock-only", "--weighable", "--least", "50g"}, 0},
		{"... and what does less VOC cost, all the way down?", maker, []string{"frontier", "sheetfed-cyan", "--kg", "250", "--limit", "voc", "--stock-only"}, 0},
		{"... and if the customer wants half the VOC?", maker, []string{"optimise", "heatset-magenta", "--kg", "400", "--set", "voc<=240"}, 0},
		{"... and this one, which sales has asked for?", maker, []string{"optimise", demoImpossible, "--kg", "200"}, exitNoFormula},
		{"... the batch in the pot came out too tacky: what brings it back?", maker, []string{"correct", "b-202", "--test", "tack=11", "--weighable"}, 0},
		{"... an alkyd goes up by 5 %: which formulas of the book should change?", maker, []string{"reprice", "--price", "medium-alkyd=+5%", "--most", "6"}, 0},
		{"A CUSTOM SPOT COLOUR: a customer has sent a blue, 120 kg for an uncoated paper. What do I mix?", maker,
			append([]string{"match", colour, "--kg", "120", "--frontier", "5"}, shade...), 0},
		{"... a brighter red, is that in reach?", maker, []string{"match", "45,70,30", "--on", "uncoated-white", "--kg", "40"}, exitNoFormula},
		{"... what does the blue cost, and what do I quote?", maker, append([]string{"quote", "create", quote, "--shade", colour, "--title", "Quay blue",
			"--customer", "Millgate Press (invented)", "--kg", "25,120,500", "--pack", "tin-2-5,tin-1", "--laboratory", "--minimum", "150EUR"}, shade...), 0},
		{"... it can be sent, and printed: one copy for the customer, one for the plant", maker, []string{"quote", "send", quote}, 0},
		{"", maker, []string{"quote", "print", quote, "--to", s.papers}, 0},
		{"", maker, []string{"quote", "print", quote, "--copy", "internal", "--to", s.papers}, 0},
		{"QUALITY CONTROL: how strong are the pigments that came in?", pb.Role_ROLE_QUALITY, []string{"lots", "tests"}, 0},
		{"PURCHASING, on Monday: do stock and open orders cover the batches of the next six weeks?", buyer, []string{"coverage", "--short"}, 0},
		{"... all batches planned together: what do I order today, from whom, and what is made from what?", buyer, []string{"plan", "make", "--id", plan}, 0},
		{"... and if the delivery of magenta pigment comes ten days late?", buyer, []string{"plan", "what-if", "--order-late", demo.LatePigment + "=10"}, 0},
		{"... I take the plan: its orders are drafted and its lots set aside, all or nothing", buyer, []string{"plan", "accept", plan}, 0},
		{"", buyer, []string{"orders", "--filter", "state = \"DRAFT\""}, 0},
		{"WEIGH-UP: what do I weigh, in what order, from which lot?", floor, []string{"batch", "ticket", "b-201"}, 0},
	} {
		if err := s.act(ctx, scene); err != nil {
			return err
		}
	}
	s.heading("THE ORDER DESK, over REST: when can the customer have it?")
	for _, path := range []string{
		"/v1/materials/sheetfed-black:leadTime?quantity_kg=250",
		"/v1/materials/sheetfed-magenta:leadTime?quantity_kg=400",
		"/v1/quotes/" + quote + ":customerCopy",
	} {
		if err := s.curl(ctx, s.keys[desk], path, http.StatusOK); err != nil {
			return err
		}
	}
	fmt.Fprint(s.app.out, "A formula or a cost is none of the order desk's business, and the server says so:\n\n")
	if err := s.curl(ctx, s.keys[desk], "/v1/formulas/sheetfed-cyan", http.StatusForbidden); err != nil {
		return err
	}
	s.heading("AND THE BOOKS: does the stock agree with the ledger?")
	return s.command(ctx, pb.Role_ROLE_QUALITY, 0, "check-ledger")
}

// scene is a question and who asks it; without a title it belongs to the one before.
type scene struct {
	title string
	role  pb.Role
	args  []string
	code  int
}

func (s *stage) act(ctx context.Context, of scene) error {
	if of.title != "" {
		s.heading(of.title)
	} else {
		fmt.Fprintln(s.app.out)
	}
	return s.command(ctx, of.role, of.code, of.args...)
}

// customerFile is the measurement that the demo's customer has sent.
//
//go:embed examples/customer-colour.txt
var customerFile []byte

// customersColour puts the customer's measurement into the folder for papers, and
// names it as a colour.
func (s *stage) customersColour() (string, error) {
	file := filepath.Join(s.papers, "customer-colour.txt")
	if err := os.MkdirAll(s.papers, 0o755); err != nil {
		return "", &exit{exitFailed, err.Error()}
	}
	if err := os.WriteFile(file, customerFile, 0o644); err != nil {
		return "", &exit{exitFailed, err.Error()}
	}
	return file + "#quay-blue", nil
}

// demoImpossible is the specification that can't be met as written.
const demoImpossible = "carton-black-soft"

// stamp tells the quotes of two demos on one book apart.
func (s *stage) stamp() string {
	k := s.keys[pb.Role_ROLE_INK_MAKER]
	return strings.ToLower(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, k[len(k)-6:])) + "x"
}

func (s *stage) heading(title string) {
	fmt.Fprintf(s.app.out, "\n\n%s\n%s\n\n", title, strings.Repeat("=", len(title)))
}

// command runs one command line of this program with the role's key, and holds
// it to its exit code.
func (s *stage) command(ctx context.Context, role pb.Role, want int, args ...string) error {
	shown := make([]string, len(args))
	for i, arg := range args {
		shown[i] = arg
		if strings.ContainsAny(arg, " <>=()") {
			shown[i] = "'" + arg + "'"
		}
	}
	fmt.Fprintf(s.app.out, "$ millbase %s\n\n", strings.Join(shown, " "))
	full := append([]string{"--server", s.app.server, "--key", s.keys[role]}, args...)
	if code := run(ctx, full, s.app.out, os.Stderr); code != want {
		return &exit{exitFailed, fmt.Sprintf("demo: 'millbase %s' left with %d, not %d", strings.Join(args, " "), code, want)}
	}
	return nil
}

// curl makes one REST call as the order desk would, and holds it to its status.
func (s *stage) curl(ctx context.Context, key, path string, want int) error {
	fmt.Fprintf(s.app.out, "$ curl -H \"Authorization: Bearer $KEY\" '%s%s'\n\n", s.rest, path)
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, s.rest+path, nil)
	if err != nil {
		return &exit{exitUsage, err.Error()}
	}
	request.Header.Set("Authorization", "Bearer "+key)
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return &exit{exitUnreachable, err.Error()}
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		return &exit{exitFailed, err.Error()}
	}
	var pretty bytes.Buffer
	if json.Indent(&pretty, body, "", "  ") != nil {
		pretty.Write(body)
	}
	fmt.Fprintf(s.app.out, "%s\n\n", strings.TrimSpace(pretty.String()))
	if answer.StatusCode != want {
		return &exit{exitFailed, fmt.Sprintf("demo: %s answered %s, not %d", path, answer.Status, want)}
	}
	return nil
}
