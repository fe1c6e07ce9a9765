package app

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"millbase/inventory"
	"millbase/solver/formulation"
	"millbase/solver/match"
)

// matching is a MatchRequest with what the book had to say to it.
type matching struct {
	req   MatchRequest
	set   *setting
	print *printed
}

// matchAsked is a request with what the book has to say to it.
func (b *Book) matchAsked(ctx context.Context, req MatchRequest) (*matching, error) {
	m, err := newMatching(b, req)
	if err != nil {
		return nil, err
	}
	if b.store == nil {
		if m.req.Question.Book != nil || m.req.Question.Specification != "" || m.req.Print.Substrate != "" {
			return nil, Faultf(ErrNotReady, "NO_BOOK", "", "There is no book here: put every candidate, limit and curve into the request.")
		}
		if err := m.set.withoutBook(b.clock()); err != nil {
			return nil, err
		}
		return m, m.colour(ctx, nil, b)
	}
	err = b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		m.again()
		return m.load(ctx, b, tx)
	})
	return m, err
}

// newMatching checks what needs no book and fills in what the request leaves out.
func newMatching(b *Book, req MatchRequest) (*matching, error) {
	basis, err := checkBasis(req.Question.Basis)
	if err != nil {
		return nil, err
	}
	if req.Tolerance == 0 {
		req.Tolerance = usualTolerance
	}
	if len(req.Kinds) == 0 {
		req.Kinds = match.Kinds
	}
	q := &req.Question
	if q.Basis = basis; b.store != nil && q.Book == nil && len(q.Inline) == 0 {
		q.Book = &BookCandidates{}
	}
	m := &matching{req: req}
	m.again()
	return m, nil
}

// again forgets what was loaded: a transaction may run twice.
func (m *matching) again() {
	m.set, m.print = &setting{req: m.req.Question}, nil
	if q := &m.req.Question; q.Specification == "" && len(q.Limits) == 0 {
		m.set.req.Book = m.set.basesWithoutLimits(q.Book)
	}
}

// basesWithoutLimits keeps a book to its base inks where no limit is there that
// would keep thinner from being the cheapest way to a pale shade.
func (s *setting) basesWithoutLimits(of *BookCandidates) *BookCandidates {
	if of == nil || len(of.Materials) > 0 || len(s.limits) > 0 {
		return of
	}
	book := *of
	book.Class = inventory.BaseInk
	s.say("Of the book only base inks go in, as there are no limits beside the shade. With a specification, varnishes, oils, waxes and driers may as well.")
	return &book
}

// load reads what the request needs of the book.
func (m *matching) load(ctx context.Context, b *Book, tx Tx) error {
	if err := b.load(ctx, tx, m.set); err != nil {
		return err
	}
	return m.colour(ctx, tx, b)
}

// colour finds the substrate and what each candidate does to the curve. tx is nil
// without a book.
func (m *matching) colour(ctx context.Context, tx Tx, b *Book) (err error) {
	if m.print, err = b.printOf(ctx, tx, m.req.Print, m.req.Target.Curve); err != nil {
		return err
	}
	return m.print.colour(m.set)
}

// problem is the question in the solver's terms.
func (m *matching) problem() (*match.Problem, error) {
	p := &match.Problem{Blend: m.set.problem(), Colourants: m.print.colourants, Mode: m.print.Mode, Substrate: m.print.bare, Surface: m.print.surface,
		Target: m.req.Target, Viewing: m.req.Viewing, Second: m.req.Second, Tolerance: m.req.Tolerance, MaxBases: m.req.MaxBases}
	if c := p.Target.Curve; c != nil {
		on := m.print.sameGrid(*c)
		p.Target.Curve = &on
	}
	var err error
	p.Blend.Weighing, err = m.set.weighing()
	return p, err
}

var colourantField = regexp.MustCompile(`^colourants\[(\d+)\](.*)$`)

// translate says the faults that the solver found in the words of the request.
func (m *matching) translate(err error) error {
	var faults formulation.FieldErrors
	switch {
	case errors.As(err, &faults):
		bad := make(Invalid, 0, len(faults))
		for _, f := range faults {
			bad = append(bad, m.translateFault(f))
		}
		return bad
	case m.req.Question.Weighing != nil && errors.Is(err, formulation.ErrNumerical):
		return InvalidField("weighing", "no mixture on these scales was found within the tolerance; ask for a finer scale, a larger quantity or a wider tolerance")
	}
	return m.set.translate(err)
}

func (m *matching) translateFault(f formulation.FieldError) FieldError {
	if out, ok := m.print.translateFault(f, m.set.pool.candidates); ok {
		return out
	}
	return m.set.translateFault(f)
}

// translateFault says a fault of the colours in the words of the request; false for
// one of something else.
func (p *printed) translateFault(f formulation.FieldError, of []formulation.Candidate) (FieldError, bool) {
	if at := colourantField.FindStringSubmatch(f.Field); at != nil {
		j, _ := strconv.Atoi(at[1])
		return p.fault(&of[j], at[2], f.Problem), true
	}
	switch f.Field {
	case "mode", "surface":
		return FieldError{"print." + f.Field, f.Problem}, true
	case "substrate":
		return FieldError{p.field, f.Problem}, true
	case "colourants":
		return FieldError{"print.colourants", f.Problem}, true
	}
	return FieldError{}, false
}

// fault names a fault of what a candidate does to the curve.
func (p *printed) fault(c *formulation.Candidate, rest, problem string) FieldError {
	if i, own := p.own[c.ID]; own {
		return FieldError{fmt.Sprintf("print.colourants[%d]%s", i, rest), problem}
	}
	return FieldError{"print.substrate", fmt.Sprintf("the characterisation of %s can't be used as it stands (%s): %s", c.Name(), strings.TrimPrefix(rest, "."), problem)}
}
