package measured

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
)

// readCSV reads a table with a head; commas, semicolons or tabs.
func readCSV(text []byte) ([]Sample, error) {
	first, _, _ := bytes.Cut(bytes.TrimLeft(text, "\r\n"), []byte("\n"))
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = true
	for _, separator := range ";\t" {
		if strings.Count(string(first), string(separator)) > strings.Count(string(first), string(r.Comma)) {
			r.Comma = separator
		}
	}
	var c *columns
	var samples []Sample
	for {
		fields, err := r.Read()
		if errors.Is(err, io.EOF) {
			return samples, nil
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			return nil, errorf(bad.Line, "%v", bad.Err)
		}
		if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		if !slices.ContainsFunc(fields, func(f string) bool { return strings.TrimSpace(f) != "" }) {
			continue
		}
		if c == nil {
			if c, err = newColumns(fields, line); err != nil {
				return nil, err
			}
			continue
		}
		s, err := c.sample(fields, line, len(samples)+1)
		if err != nil {
			return nil, err
		}
		if samples = append(samples, s); len(samples) > maxSamples {
			return nil, errorf(line, "more than %d measurements; split the file", maxSamples)
		}
	}
}
