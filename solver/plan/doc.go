// Package plan is the joint plan: one optimisation over all batches, lots, offers
// and periods of a plant. Each batch may take any blend that meets its limits, so
// that a scarce lot goes where what would stand in for it is dearest, and what is
// bought is bought for all batches together.
//
// The plan is a linear program, with whole numbers where an offer has a minimum
// order, packs, price breaks or a charge per order. Periods are counted from 0;
// masses are kilograms, money is of one currency: whoever calls has rounded and
// converted before, and rounds orders up to whole packs after.
package plan
