// Package purchase is buying: suppliers' offers with price breaks, and purchase
// orders.
package purchase
