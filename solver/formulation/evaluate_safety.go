package formulation

import (
	"math"
	"slices"

	"millbase/inventory/property"
)

// deviates reports whether a value of the blend is uncertain.
func (b *blend) deviates() bool {
	return slices.ContainsFunc(b.of, func(c *Candidate) bool { return len(c.Deviation) > 0 })
}

// doubt works out how sure a guarded limit with a value is. It moves each value of each
// component by a little and works the whole blend out again.
func (b *blend) doubt(r *LimitReport, l *Limit, p *Problem, d *property.Definition) {
	num, den, _ := b.totals(l, p, d)
	parts := b.parts(l, p, d)
	at := num / den
	if s := math.Abs(d.Slope(r.Value)); s > 0 {
		r.Deviation = spreadOf(parts, at, 0) / (den * s)
	}
	bounds := [...]*float64{l.Lower, l.Upper}
	slack, missed, nominal := math.Inf(1), 0.0, r.Met
	for side, bound := range bounds {
		if bound == nil || *bound <= d.Domain() || side == 0 && l.vacuous() {
			if bound != nil {
				slack = min(slack, math.Abs(r.Value-*bound))
			}
			continue
		}
		// toward is the direction of the ratio in which the bound is broken.
		toward := -1.0
		if (side == 1) == d.Increasing() {
			toward = 1
		}
		ratio := d.Forward(*bound)
		over := toward * (num - ratio*den)
		missed += missing(l, parts, ratio, over, nominal)
		away := l.factor() * spreadOf(parts, ratio, l.Budget)
		safe := d.Inverse(ratio + toward*(over+away)/den)
		left := *bound - safe
		if side == 0 {
			left = -left
		}
		if left < slack {
			slack, r.Margin = left, math.Abs(safe-d.Inverse(ratio+toward*over/den))
		}
		r.Met = r.Met && left >= -tolerance*l.size()
	}
	r.Confidence = max(0, 1-missed)
	r.Slack = slack
}

// parts are the moments of numerator and denominator for each component, of all
// of it.
func (b *blend) parts(l *Limit, p *Problem, d *property.Definition) []moments {
	out := make([]moments, len(b.of))
	for k, c := range b.of {
		was, stayed, stays := b.sets[k], b.stayed[k], b.stays
		for _, key := range c.uncertain() {
			var num, den [3]float64
			for i, by := range [...]float64{-slopeStep, 0, slopeStep} {
				b.sets[k] = shifted(was, key, by*c.Deviation[key], p.Catalogue)
				b.stayed[k] = b.kg[k] * b.sets[k].Retained()
				b.stays = stays + b.stayed[k] - stayed
				num[i], den[i], _ = b.totals(l, p, d)
			}
			out[k].add(slope(num[0], num[1], num[2]), slope(den[0], den[1], den[2]))
		}
		b.sets[k], b.stayed[k], b.stays = was, stayed, stays
	}
	return out
}

// spreadOf is the standard deviation of num - ratio*den, or with a budget the
// largest sum of the deviations that it covers.
func spreadOf(parts []moments, ratio, budget float64) float64 {
	each := make([]float64, len(parts))
	for k, m := range parts {
		each[k] = m.deviation(ratio)
	}
	if budget == 0 {
		return norm(each)
	}
	slices.SortFunc(each, func(x, y float64) int {
		if x > y {
			return -1
		}
		return 1
	})
	sum := 0.0
	for _, v := range each {
		sum += v * max(0, min(1, budget))
		budget--
	}
	return sum
}

// missing is the probability that one bound is broken, by which num - ratio*den
// is over (below 0: inside). Under a budget it is the bound that holds for any
// symmetric deviations, by the largest budget that the formula has room for.
func missing(l *Limit, parts []moments, ratio, over float64, met bool) float64 {
	deviation := spreadOf(parts, ratio, 0)
	switch {
	case deviation == 0 && met:
		return 0
	case deviation == 0:
		return 1
	case l.Budget == 0:
		return normal(over / deviation)
	case over > 0:
		return 1
	}
	n := 0
	for _, m := range parts {
		if m.deviation(ratio) > 0 {
			n++
		}
	}
	low, high := 0.0, float64(n)
	if l.factor()*spreadOf(parts, ratio, high) <= -over {
		return 0
	}
	for range 60 {
		if middle := (low + high) / 2; l.factor()*spreadOf(parts, ratio, middle) <= -over {
			low = middle
		} else {
			high = middle
		}
	}
	return BudgetBound(n, low)
}
