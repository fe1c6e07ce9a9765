// Package washup says how long machines are washed between two inks.
//
// A mixer or mill that goes from a light ink to a darker one needs a short
// wash-up: what is left of the light one does not show. The other way round it is
// washed in full (common practice). How dark an ink is stands for its shade: CIE L*
// of a print. The times are the plant's own.
package washup
