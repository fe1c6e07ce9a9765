package ledger

import (
	"errors"
	"fmt"
	"slices"

	"millbase/inventory/mass"
)

// Errors of the constructors and of Validate; test with errors.Is.
var (
	ErrQuantity   = errors.New("ledger: a quantity must be above zero and at most 1,000,000 t")
	ErrNothing    = errors.New("ledger: an adjustment of nothing")
	ErrPlace      = errors.New("ledger: a lot and a location are needed")
	ErrSamePlace  = errors.New("ledger: a transfer must change the location")
	ErrParty      = errors.New("ledger: say where it goes to or comes from")
	ErrReversal   = errors.New("ledger: a reversal can't be reversed; post what should have happened")
	ErrUnbalanced = errors.New("ledger: the entries do not sum to zero")
	ErrShape      = errors.New("ledger: an entry or a kind does not have the form of the ledger")
)

// Head is what every movement carries beside its entries.
type Head struct {
	ID    string // a UUID chosen by the client
	Note  string
	Actor string // who posts it: the title of the API key
}

func (h Head) movement(kind Kind, entries ...Entry) Movement {
	return Movement{ID: h.ID, Kind: kind, Note: h.Note, Actor: h.Actor, Entries: entries}
}

// Place is a lot at a location.
type Place struct{ Lot, Location string }

func (p Place) check(quantity mass.Mass) error {
	if p.Lot == "" || p.Location == "" {
		return ErrPlace
	}
	if quantity <= 0 || quantity > mass.Max {
		return fmt.Errorf("%w: got %s", ErrQuantity, quantity)
	}
	return nil
}

func (p Place) entry(quantity mass.Mass) Entry {
	return Entry{Account: Account{Kind: Stock, Location: p.Location}, Lot: p.Lot, Quantity: quantity}
}

// out and in are the two lines by which quantity leaves or reaches the place.
func (p Place) out(to Account, quantity mass.Mass) []Entry {
	return []Entry{p.entry(-quantity), {Account: to, Lot: p.Lot, Quantity: quantity}}
}

func (p Place) in(from Account, quantity mass.Mass) []Entry {
	return []Entry{{Account: from, Lot: p.Lot, Quantity: -quantity}, p.entry(quantity)}
}

// NewReceipt takes a delivery in: supplier -> stock.
func NewReceipt(h Head, at Place, supplier string, quantity mass.Mass) (Movement, error) {
	if err := at.check(quantity); err != nil {
		return Movement{}, err
	}
	return h.movement(Receipt, at.in(Account{Kind: Supplier, Party: supplier}, quantity)...), nil
}

// Destination is what an issue is for: a batch or a customer, one of them.
// Reservation is the reservation that it uses, if any.
type Destination struct {
	Batch       string
	Customer    string
	Reservation string
}

// NewIssue takes material out for a batch or a customer: stock -> batch in
// process, or customer. ErrParty when neither or both are named.
func NewIssue(h Head, from Place, to Destination, quantity mass.Mass) (Movement, error) {
	if err := from.check(quantity); err != nil {
		return Movement{}, err
	}
	if (to.Batch == "") == (to.Customer == "") {
		return Movement{}, ErrParty
	}
	account := Account{Kind: Customer, Party: to.Customer}
	if to.Batch != "" {
		account = Account{Kind: BatchInProcess, Party: to.Batch}
	}
	m := h.movement(Issue, from.out(account, quantity)...)
	m.Batch = to.Batch
	if to.Reservation != "" {
		m.Uses = []ReservationUse{{Reservation: to.Reservation, Quantity: quantity}}
	}
	return m, nil
}

// NewAdjustment corrects the book by a count difference, above or below zero.
func NewAdjustment(h Head, at Place, difference mass.Mass) (Movement, error) {
	if difference == 0 {
		return Movement{}, ErrNothing
	}
	if err := at.check(max(difference, -difference)); err != nil {
		return Movement{}, err
	}
	return h.movement(Adjustment, at.in(Account{Kind: CountDifference}, difference)...), nil
}

// NewTransfer moves a lot to another location.
func NewTransfer(h Head, from Place, to string, quantity mass.Mass) (Movement, error) {
	if err := from.check(quantity); err != nil {
		return Movement{}, err
	}
	if to == "" {
		return Movement{}, ErrParty
	}
	if to == from.Location {
		return Movement{}, ErrSamePlace
	}
	return h.movement(Transfer, from.out(Account{Kind: Stock, Location: to}, quantity)...), nil
}

// NewReturn sends material back to its supplier: stock -> supplier.
func NewReturn(h Head, from Place, supplier string, quantity mass.Mass) (Movement, error) {
	if err := from.check(quantity); err != nil {
		return Movement{}, err
	}
	if supplier == "" {
		return Movement{}, ErrParty
	}
	return h.movement(Return, from.out(Account{Kind: Supplier, Party: supplier}, quantity)...), nil
}

// NewBatchReturn takes back what a batch did not need: batch in process -> stock.
func NewBatchReturn(h Head, to Place, batch string, quantity mass.Mass) (Movement, error) {
	if err := to.check(quantity); err != nil {
		return Movement{}, err
	}
	if batch == "" {
		return Movement{}, ErrParty
	}
	m := h.movement(Return, to.in(Account{Kind: BatchInProcess, Party: batch}, quantity)...)
	m.Batch = batch
	return m, nil
}

// NewScrap throws material away: stock -> scrap.
func NewScrap(h Head, from Place, quantity mass.Mass) (Movement, error) {
	if err := from.check(quantity); err != nil {
		return Movement{}, err
	}
	return h.movement(Scrap, from.out(Account{Kind: Scrapped}, quantity)...), nil
}

// NewProduction takes the ink that a batch made into stock, and its loss into
// scrap: batch in process -> stock, loss -> scrap. With issues of as much as
// made + loss the batch's account comes to zero.
func NewProduction(h Head, to Place, batch string, made, loss mass.Mass) (Movement, error) {
	if err := to.check(made); err != nil {
		return Movement{}, err
	}
	if batch == "" {
		return Movement{}, ErrParty
	}
	if loss < 0 || made > mass.Max-loss {
		return Movement{}, fmt.Errorf("%w: loss %s", ErrQuantity, loss)
	}
	from := Account{Kind: BatchInProcess, Party: batch}
	entries := []Entry{{Account: from, Lot: to.Lot, Quantity: -(made + loss)}, to.entry(made)}
	if loss > 0 {
		entries = append(entries, Entry{Account: Account{Kind: Scrapped}, Lot: to.Lot, Quantity: loss})
	}
	m := h.movement(Production, entries...)
	m.Batch = batch
	return m, nil
}

// NewReversal undoes a movement by turning each of its entries round. What a
// movement used of a reservation stays used: reserve it anew.
func NewReversal(h Head, of Movement) (Movement, error) {
	if of.Kind == Reversal {
		return Movement{}, ErrReversal
	}
	entries := slices.Clone(of.Entries)
	for i := range entries {
		entries[i].Quantity = -entries[i].Quantity
	}
	m := h.movement(Reversal, entries...)
	m.Reverses, m.Batch = of.ID, of.Batch
	return m, nil
}
