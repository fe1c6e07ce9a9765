package measured

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"millbase/solver/colour"
)

// Sample is one measured patch.
type Sample struct {
	Name  string
	Curve *colour.Curve // nil when the file has no spectral values
	Lab   *colour.Lab   // as the file has it; nil when it has none
	Line  int           // where it stands in the file
}

// Error says what is wrong with a file, and where.
type Error struct {
	Line   int // from 1; 0 for the file as a whole
	Reason string
}

// Error implements error.
func (e *Error) Error() string {
	if e.Line == 0 {
		return e.Reason
	}
	return fmt.Sprintf("line %d: %s", e.Line, e.Reason)
}

func errorf(line int, format string, args ...any) error {
	return &Error{line, fmt.Sprintf(format, args...)}
}

// Limits on what is read.
const (
	maxBytes   = 16 << 20
	maxSamples = 20_000
)

// Read reads samples in whichever of the formats the file is. Errors are *Error,
// or those of r.
func Read(r io.Reader) ([]Sample, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return nil, err
	}
	if len(text) > maxBytes {
		return nil, errorf(0, "the file is larger than %d MiB", maxBytes>>20)
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	start := bytes.TrimLeft(text, " \t\r\n")
	var samples []Sample
	switch {
	case len(start) == 0:
		return nil, errorf(0, "the file is empty")
	case start[0] == '<':
		samples, err = readXML(text)
	case bytes.Contains(text, []byte("BEGIN_DATA")):
		samples, err = readKeywords(text)
	default:
		samples, err = readCSV(text)
	}
	if err != nil {
		return nil, err
	}
	if len(samples) == 0 {
		return nil, errorf(0, "the file holds no measurement")
	}
	return samples, check(samples)
}

func check(samples []Sample) error {
	for i := range samples {
		s := &samples[i]
		if s.Curve == nil && s.Lab == nil {
			return errorf(s.Line, "%q has neither spectral values nor L*a*b*", s.Name)
		}
		if s.Curve == nil {
			continue
		}
		if most := slices.Max(s.Curve.Values); most > 2 && most <= 200 {
			for k := range s.Curve.Values {
				s.Curve.Values[k] /= 100
			}
		}
		if err := s.Curve.Validate(); err != nil {
			return errorf(s.Line, "%q: %v", s.Name, err)
		}
	}
	return nil
}

// columns says which fields of a table hold what.
type columns struct {
	name    int // -1 for none
	lab     [3]int
	nm      []int // ascending
	at      []int // column of each nm
	of      int   // number of columns
	heading int   // line
}

// newColumns reads the heads of a table.
func newColumns(heads []string, line int) (*columns, error) {
	c := &columns{name: -1, lab: [3]int{-1, -1, -1}, of: len(heads), heading: line}
	at := map[int]int{}
	for i, head := range heads {
		head = strings.ToUpper(strings.Trim(strings.TrimSpace(head), `"`))
		switch head {
		case "SAMPLE_NAME", "NAME":
			c.name = i
		case "SAMPLE_ID", "SAMPLEID", "ID":
			if c.name < 0 {
				c.name = i
			}
		case "LAB_L", "L", "L*":
			c.lab[0] = i
		case "LAB_A", "A", "A*":
			c.lab[1] = i
		case "LAB_B", "B", "B*":
			c.lab[2] = i
		default:
			nm, ok := wavelength(head)
			if !ok {
				continue // a field of no interest here
			}
			if _, twice := at[nm]; twice {
				return nil, errorf(line, "the wavelength %d nm stands there twice", nm)
			}
			at[nm] = i
			c.nm = append(c.nm, nm)
		}
	}
	slices.Sort(c.nm)
	for _, nm := range c.nm {
		c.at = append(c.at, at[nm])
	}
	if len(c.nm) == 0 && slices.Contains(c.lab[:], -1) {
		return nil, errorf(line, "no column is headed by a wavelength (such as SPECTRAL_NM380, or 380), nor are there L*, a* and b*")
	}
	return c, c.even()
}

// wavelength reads heads such as SPECTRAL_NM380, SPECTRAL_380, NM380, 380 and
// 380 NM.
func wavelength(head string) (nm int, ok bool) {
	for _, before := range []string{"SPECTRAL_NM_", "SPECTRAL_NM", "SPECTRAL_", "NM_", "NM", "R_"} {
		head = strings.TrimPrefix(head, before)
	}
	head = strings.TrimSuffix(strings.TrimSpace(strings.TrimSuffix(head, "NM")), ".0")
	nm, err := strconv.Atoi(head)
	return nm, err == nil && nm >= 200 && nm <= 1200
}

// even refuses wavelengths that are not evenly spaced.
func (c *columns) even() error {
	for i := 2; i < len(c.nm); i++ {
		if c.nm[i]-c.nm[i-1] != c.nm[1]-c.nm[0] {
			return errorf(c.heading, "the wavelengths are not evenly spaced: %d, %d, then %d nm", c.nm[i-2], c.nm[i-1], c.nm[i])
		}
	}
	if len(c.nm) == 1 {
		return errorf(c.heading, "there is one wavelength only, %d nm", c.nm[0])
	}
	return nil
}

// sample reads one row.
func (c *columns) sample(fields []string, line, number int) (Sample, error) {
	s := Sample{Name: fmt.Sprintf("sample %d", number), Line: line}
	if len(fields) != c.of {
		return s, errorf(line, "%d values, where the head at line %d has %d", len(fields), c.heading, c.of)
	}
	if c.name >= 0 && strings.TrimSpace(fields[c.name]) != "" {
		s.Name = strings.TrimSpace(fields[c.name])
	}
	if !slices.Contains(c.lab[:], -1) {
		s.Lab = &colour.Lab{}
		for k, to := range []*float64{&s.Lab.L, &s.Lab.A, &s.Lab.B} {
			v, err := figure(fields[c.lab[k]], line)
			if err != nil {
				return s, err
			}
			*to = v
		}
	}
	if len(c.nm) > 0 {
		s.Curve = &colour.Curve{First: c.nm[0], Step: c.nm[1] - c.nm[0]}
		for _, at := range c.at {
			v, err := figure(fields[at], line)
			if err != nil {
				return s, err
			}
			s.Curve.Values = append(s.Curve.Values, v)
		}
	}
	return s, nil
}

func figure(text string, line int) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, errorf(line, "%.40q is not a number; write a point for the decimals", text)
	}
	return v, nil
}

// lines counts as it goes.
type lines struct {
	scan *bufio.Scanner
	at   int
}

func newLines(text []byte) *lines {
	s := bufio.NewScanner(bytes.NewReader(text))
	s.Buffer(nil, maxBytes+1)
	return &lines{scan: s}
}

func (l *lines) next() (text string, ok bool) {
	if !l.scan.Scan() {
		return "", false
	}
	l.at++
	return l.scan.Text(), true
}
