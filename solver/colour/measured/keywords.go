package measured

import (
	"strconv"
	"strings"
)

// readKeywords reads the first table with values of a CGATS.17 file (ISO 28178).
func readKeywords(text []byte) ([]Sample, error) {
	l := newLines(text)
	var heads []string
	var c *columns
	var samples []Sample
	announced, state, begun := -1, "", 0
	for {
		line, ok := l.next()
		if !ok {
			break
		}
		fields := split(line)
		if len(fields) == 0 {
			continue
		}
		switch keyword := strings.ToUpper(fields[0]); {
		case keyword == "BEGIN_DATA_FORMAT":
			state, begun, heads = "format", l.at, nil
		case keyword == "END_DATA_FORMAT":
			if state != "format" {
				return nil, errorf(l.at, "END_DATA_FORMAT comes before BEGIN_DATA_FORMAT")
			}
			var err error
			if c, err = newColumns(heads, begun); err != nil {
				return nil, err
			}
			state = ""
		case keyword == "BEGIN_DATA":
			if c == nil {
				return nil, errorf(l.at, "BEGIN_DATA comes before BEGIN_DATA_FORMAT and END_DATA_FORMAT, which say what the values are")
			}
			state, begun = "data", l.at
		case keyword == "END_DATA":
			if announced >= 0 && announced != len(samples) {
				return nil, errorf(l.at, "NUMBER_OF_SETS says %d, there are %d: the file is not complete", announced, len(samples))
			}
			return samples, nil
		case state == "format":
			heads = append(heads, fields...)
		case state == "data":
			s, err := c.sample(fields, l.at, len(samples)+1)
			if err != nil {
				return nil, err
			}
			if samples = append(samples, s); len(samples) > maxSamples {
				return nil, errorf(l.at, "more than %d measurements; split the file", maxSamples)
			}
		case keyword == "NUMBER_OF_SETS" && len(fields) > 1:
			n, err := strconv.Atoi(fields[1])
			if err != nil || n < 0 {
				return nil, errorf(l.at, "NUMBER_OF_SETS is %.40q, which is not a number of measurements", fields[1])
			}
			announced = n
		}
	}
	if state == "data" {
		return nil, errorf(l.at, "END_DATA is missing (BEGIN_DATA stands at line %d): the file is not complete", begun)
	}
	return nil, errorf(l.at, "there is no BEGIN_DATA")
}

// split cuts a line at white space, but not within quotes; what follows a # is a
// comment.
func split(line string) (out []string) {
	var field strings.Builder
	quoted, any := false, false
	end := func() {
		if any {
			out = append(out, field.String())
		}
		field.Reset()
		any = false
	}
	for _, r := range line {
		switch {
		case r == '"':
			quoted, any = !quoted, true
		case quoted:
			field.WriteRune(r)
		case r == '#' && !any:
			return out
		case r == ' ', r == '\t', r == '\r':
			end()
		default:
			field.WriteRune(r)
			any = true
		}
	}
	end()
	return out
}
