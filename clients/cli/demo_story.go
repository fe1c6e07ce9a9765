package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"

	pb "millbase/proto/millbase/v1"
)

// play shows what each user asks and what each would see.
func (s *stage) play(ctx context.Context) error {
	maker, buyer, desk, floor := pb.Role_ROLE_INK_MAKER, pb.Role_ROLE_PURCHASING, pb.Role_ROLE_ORDER_DESK, pb.Role_ROLE_FLOOR
	scenes := []struct {
		title string
		role  pb.Role
		args  []string
		code  int
	}{
		{"THE INK MAKER: the cheapest sheetfed cyan from the lots that I have?", maker, []string{"optimise", "sheetfed-cyan", "--kg", "250", "--stock-only"}, 0},
		{"... and as I can weigh it: whole divisions of my scales, nothing under 50 g?", maker,
			[]string{"optimise", "sheetfed-cyan", "--kg", "250", "--stock-only", "--weighable", "--least", "50g"}, 0},
		{"... and what does less VOC cost, all the way down?", maker, []string{"frontier", "sheetfed-cyan", "--kg", "250", "--limit", "voc", "--stock-only"}, 0},
		{"... and if the customer wants half the VOC?", maker, []string{"optimise", "heatset-magenta", "--kg", "400", "--set", "voc<=240"}, 0},
		{"... and this one, which sales has asked for?", maker, []string{"optimise", demoImpossible, "--kg", "200"}, exitNoFormula},
		{"... the batch in the pot came out too tacky: what brings it back?", maker, []string{"correct", "b-202", "--test", "tack=11", "--weighable"}, 0},
		{"... an alkyd goes up by 5 %: which formulas of the book should change?", maker, []string{"reprice", "--price", "medium-alkyd=+5%", "--most", "6"}, 0},
		{"... what does a spot colour cost to make?", maker, []string{"cost", "spot-harbour-blue", "--kg", "120", "--pack", "tin-2-5"}, 0},
		{"... and what do I quote?", maker, []string{"quote", "q-" + s.stamp(), "--formula", "spot-harbour-blue", "--customer", "Millgate Press (invented)", "--title", "Harbour blue",
			"--kg", "25,120,500,1200", "--pack", "tin-2-5", "--minimum", "150EUR"}, 0},
		{"PURCHASING: do stock and open orders cover the batches of the next six weeks?", buyer, []string{"coverage", "--short"}, 0},
		{"WEIGH-UP: what do I weigh, in what order, from which lot?", floor, []string{"batch", "ticket", "b-201"}, 0},
	}
	for _, scene := range scenes {
		s.heading(scene.title)
		if err := s.command(ctx, scene.role, scene.code, scene.args...); err != nil {
			return err
		}
	}
	s.heading("THE ORDER DESK, over REST: when can the customer have it?")
	for _, path := range []string{
		"/v1/materials/sheetfed-black:leadTime?quantity_kg=250",
		"/v1/materials/sheetfed-magenta:leadTime?quantity_kg=400",
		"/v1/quotes/q-" + s.stamp() + ":customerCopy",
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
