package postgres

import "testing"

// A release of the job queue with newer tables needs a migration of ours: this fails
// until there is one.
func TestQueueTablesAreThoseOfItsRelease(t *testing.T) {
	migrator, err := newQueueMigrator(nil)
	if err != nil {
		t.Fatal(err)
	}
	all := migrator.AllVersions()
	if newest := all[len(all)-1].Version; newest != queueTarget {
		t.Errorf("the queue's tables are at version %d and our migration brings them to %d: add a migration", newest, queueTarget)
	}
}
