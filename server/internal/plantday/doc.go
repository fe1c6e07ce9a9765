// Package plantday loads the demo plant through the API and lives a day on it:
// what the ink maker, the buyer, weigh-up and the order desk ask, and whether
// the answers hold together. It has tests only.
package plantday
