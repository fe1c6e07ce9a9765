package rpc

import (
	pb "millbase/proto/millbase/v1"

	"millbase/inventory/ledger"
)

func movementOut(m ledger.Movement) *pb.Movement {
	at, quantity := m.Moved()
	out := &pb.Movement{
		Name: nameOf(movements, m.ID), Kind: enum[pb.MovementKind](string(m.Kind)), Lot: nameOf(lots, at.Lot), Location: at.Location,
		QuantityKg: kg(quantity), Batch: nameOf(batches, m.Batch), Note: m.Note, Reverses: nameOf(movements, m.Reverses),
		Actor: m.Actor, PostTime: momentOut(m.PostedAt),
	}
	for _, e := range m.Entries {
		if m.Kind == ledger.Transfer && e.Quantity > 0 {
			out.ToLocation = e.Account.Location
		}
		if m.Kind == ledger.Issue && e.Account.Kind == ledger.Customer {
			out.Customer = e.Account.Party
		}
		out.Entries = append(out.Entries, &pb.Entry{Account: accountOut(e.Account), Lot: nameOf(lots, e.Lot), QuantityKg: kg(e.Quantity)})
	}
	if len(m.Uses) > 0 {
		out.Reservation = nameOf(reservations, m.Uses[0].Reservation)
	}
	return out
}

// accountOut writes an account as its kind and its place or party.
func accountOut(a ledger.Account) string {
	detail := a.Party
	if a.Kind == ledger.Stock {
		detail = a.Location
	}
	if detail == "" {
		return string(a.Kind)
	}
	return string(a.Kind) + "/" + detail
}

func reservationOut(r ledger.Reservation) *pb.Reservation {
	return &pb.Reservation{
		Name: nameOf(reservations, r.ID), Lot: nameOf(lots, r.Lot), Location: r.Location, QuantityKg: kg(r.Quantity), RemainingKg: kg(r.Remaining),
		Batch: nameOf(batches, r.Batch), Note: r.Note, Actor: r.Actor, CreateTime: momentOut(r.CreatedAt),
	}
}
