package gateway_test

import (
	"testing"

	"millbase/server/postgres/pgtest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }
