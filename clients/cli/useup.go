package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	pb "millbase/proto/millbase/v1"
)

// preference is what --use-up, --premium and --premium-percent say.
type preference struct {
	which   []string
	premium string
	percent float64
}

func (p *preference) flags(f *pflag.FlagSet) {
	f.StringSliceVar(&p.which, "use-up", nil, "lots worth using up: those whose last day is within so many days (30d), work-off, or both by a comma")
	f.StringVar(&p.premium, "premium", "", "what using a kg of them up is worth beyond its price: 0.50")
	f.Float64Var(&p.percent, "premium-percent", 0, "the same in per cent of its price")
}

// into puts the preference, if any, into a request.
func (p *preference) into(r *pb.OptimiseRequest) error {
	if len(p.which) == 0 {
		if p.premium != "" || p.percent != 0 {
			return &exit{exitUsage, "--premium is for what --use-up names: --use-up 30d, --use-up work-off"}
		}
		return nil
	}
	out := &pb.UseUp{PremiumPercent: p.percent}
	for _, w := range p.which {
		if w == "work-off" {
			out.WorkOff = true
			continue
		}
		days, err := strconv.ParseInt(strings.TrimSuffix(w, "d"), 10, 32)
		if err != nil || days < 1 {
			return &exit{exitUsage, fmt.Sprintf("--use-up %q: write days such as 30d, or work-off", w)}
		}
		out.WithinDays = int32(days)
	}
	if p.premium == "" && p.percent == 0 {
		return &exit{exitUsage, "say what using a kg up is worth: --premium 0.50, or --premium-percent 20"}
	}
	if p.premium != "" {
		amount, err := parseCash(p.premium)
		if err != nil { // without a currency: that of the answer
			if amount, err = parseCash(p.premium + "EUR"); err != nil {
				return &exit{exitUsage, fmt.Sprintf("--premium %q: write an amount per kg such as 0.50", p.premium)}
			}
			amount.CurrencyCode = ""
		}
		out.PremiumPerKg = amount
	}
	r.UseUp = out
	return nil
}

// printUsedUp says what the preference for using lots up comes to.
func printUsedUp(w io.Writer, r *pb.OptimiseResponse) {
	if r.UseUpCost == nil {
		return
	}
	fmt.Fprintf(w, "\nUsed up: a premium of %s is earned; the preference costs %s against the cheapest formula without it.\n\n",
		cash(r.UseUpPremium, 2), cash(r.UseUpCost, 2))
	t := newTable("worth using up", ">kg", ">kg without premium", ">premium", ">its use costs per kg of ink")
	for _, l := range r.UsedUp {
		costs := cashNumber(l.CostPerKg, 4)
		switch {
		case l.MassKg == 0:
			costs = "not used"
		case l.Needed:
			costs = "no formula without it"
		case l.Unknown:
			costs = "not known"
		}
		t.add(label(l.Title, l.Candidate), kg(l.MassKg), kg(l.MassWithoutKg), cashNumber(l.Premium, 2), costs)
	}
	t.print(w)
}
