package main

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/type/money"
)

var cashPattern = regexp.MustCompile(`^([0-9]{1,12})(?:\.([0-9]{1,9}))?\s*([A-Z]{3})$`)

// parseCash reads an amount with its currency, "1.98EUR" or "1.98 EUR", exactly.
func parseCash(text string) (*money.Money, error) {
	m := cashPattern.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return nil, &exit{exitUsage, fmt.Sprintf("%q: write an amount with its currency, at most nine decimals: 1.98EUR", text)}
	}
	units, err := strconv.ParseInt(m[1], 10, 64)
	if err != nil {
		return nil, &exit{exitUsage, err.Error()}
	}
	nanos, err := strconv.ParseInt((m[2] + "000000000")[:9], 10, 32)
	if err != nil {
		return nil, &exit{exitUsage, err.Error()}
	}
	return &money.Money{CurrencyCode: m[3], Units: units, Nanos: int32(nanos)}, nil
}
