// Package millbasev1 is the API of the plant's book: resources, methods, request
// rules and roles in the .proto files, and the Go that is generated from them.
//
// It follows the public API improvement proposals (AIP): resource names such as
// "lots/l-1042", standard methods, pages, filters, etags and request ids. Masses
// are kilograms and must be whole milligrams; dates are YYYY-MM-DD.
package millbasev1
