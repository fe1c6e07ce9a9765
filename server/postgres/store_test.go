package postgres_test

import (
	"testing"

	"millbase/server/app"
	"millbase/server/app/storetest"
	"millbase/server/postgres/pgtest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) app.Store { return pgtest.New(t) })
}
