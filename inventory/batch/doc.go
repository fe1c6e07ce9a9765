// Package batch is a production batch: what is to be made, how much and by when,
// the lots set aside for it, and what became of it.
package batch
