package postgres_test

import (
	"flag"
	"testing"

	"millbase/server/app"
	"millbase/server/app/storetest"
	"millbase/server/postgres/pgtest"
)

var durable = flag.Bool("durable", false, "run on a cluster with fsync and synchronous_commit on, for measuring")

func TestMain(m *testing.M) {
	flag.Parse()
	if *durable {
		pgtest.MainDurable(m)
	}
	pgtest.Main(m)
}

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) app.Store { return pgtest.New(t) })
}
