package figures

import (
	"testing"

	"google.golang.org/genproto/googleapis/type/money"
)

func TestNumbers(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Kg(12.5), "12.5"}, {Kg(0), "0"}, {Kg(0.000001), "0.000001"}, {Kg(-3), "-3"}, {Kg(1200), "1200"},
		{Significant(0.0012345678, 4), "0.001235"}, {Significant(262.04, 5), "262.04"}, {Significant(0, 5), "0"}, {Significant(123456, 3), "123456"},
		{Number(0.4, 0), "0"}, {Number(1999.6, 0), "2000"}, {Number(-0.2, 0), "0"}, {Fixed(1, 2), "1.00"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestCash(t *testing.T) {
	for _, c := range []struct {
		units    int64
		nanos    int32
		decimals int
		want     string
	}{
		{4, 730_000_000, 2, "4.73 EUR"}, {4, 735_000_000, 2, "4.74 EUR"}, {9, 999_999_999, 2, "10.00 EUR"}, {-4, -730_000_000, 2, "-4.73 EUR"},
		{0, 123_450_000, 4, "0.1235 EUR"}, {12, 0, 0, "12 EUR"},
	} {
		if got := Cash(&money.Money{CurrencyCode: "EUR", Units: c.units, Nanos: c.nanos}, c.decimals); got != c.want {
			t.Errorf("%d.%09d: got %q, want %q", c.units, c.nanos, got, c.want)
		}
	}
	if got := Cash(nil, 2); got != "-" {
		t.Errorf("no amount prints %q", got)
	}
}
