// Package purchase is buying: suppliers' offers with price breaks, purchase orders
// and what is delivered against them.
//
// A delivery of a material fills the order's lines of it in the order of their due
// dates; what comes on top is booked on the last of them, as far as the plant's
// tolerance goes. A line that lacks no more than the tolerance for short
// deliveries is closed, and so is one of which someone says that no more is to
// come. A receipt that is reversed gives back what it brought.
package purchase
