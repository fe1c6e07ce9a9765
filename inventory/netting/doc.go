// Package netting sets needs against stock and orders, bucket by bucket, and
// plans what to order and when: time-phased netting as in every text on
// material requirements planning.
//
// For each bucket (a week, say), with B the balance at its end:
//
//	without = B(before) + scheduled receipts - gross requirements
//	net     = what without lacks to the safety stock
//	receipt = net made into a lot by the rule; zero when net is zero
//	B       = without + receipt
//	release = the receipt, one lead time earlier
//
// With a safety time the receipt comes that many buckets before it is needed.
// Before a time fence no receipt is planned: what lacks there is listed, with the
// open orders that could be brought forward, and is made good by a receipt at the
// fence (time fences of master scheduling, as in every text).
//
// A release that would lie before the first bucket is kept and flagged with the
// number of buckets by which it is late; it is never moved silently. Beside the
// plan stands the balance with what is already there and ordered alone: its
// first bucket below zero is the first shortage that a batch would see.
//
// Available to promise is worked out for a product with a master schedule: each
// receipt, less the customers' orders until the next one; a group that is
// oversold takes from the ones before it.
//
// Buckets are counted from 0. All masses are whole milligrams.
package netting
