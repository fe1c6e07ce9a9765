package leadtime

import (
	"fmt"
	"time"

	"millbase/inventory/mass"
)

// Public is the part of a promise that may leave the plant: when, how much now,
// and why in words that name no material, order or machine. It is a type of its
// own so that a formula cannot leak by passing on a Promise.
type Public struct {
	Possible     bool
	At           time.Time
	Decides      Cause
	Reason       string
	FromStockNow mass.Mass
}

// Public is what the order desk and the customer may see.
func (p Promise) Public() Public {
	out := Public{p.Possible, p.At, p.Decides, "", p.FromStockNow}
	switch p.Decides {
	case Stock:
		out.Reason = "From stock."
		if !p.allNow {
			out.Reason = "From stock, once a finished batch is free."
		}
	case Materials:
		out.Reason = "A raw material must arrive first."
	case Capacity:
		out.Reason = "The mill is busy with earlier orders until then."
	case ProcessTime:
		out.Reason = "It is made to order; making and testing take until then."
	default:
		out.Reason = "It cannot be promised at present; ask the plant."
	}
	if p.Possible && p.Decides != Stock && p.FromStockNow > 0 {
		out.Reason += fmt.Sprintf(" %s can be had from stock at once.", p.FromStockNow)
	}
	return out
}
