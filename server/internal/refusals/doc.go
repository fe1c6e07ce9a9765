// Package refusals sends bad requests to every method of the API: no key, the
// wrong role, and for every field of the request whatever can be wrong with a
// field of its kind. Each must be refused with the right code, a sentence and
// its details, and leave every row of the database as it was. It has tests only.
package refusals
