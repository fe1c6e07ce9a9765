// Package pgtest gives tests a real Postgres: one private cluster per test
// process, and per test a fresh database copied from a migrated template.
//
//	func TestMain(m *testing.M) { pgtest.Main(m) }
//
//	func TestSomething(t *testing.T) {
//		store := pgtest.New(t)
//		...
//	}
//
// Without an installed Postgres the run fails; it never skips.
package pgtest
