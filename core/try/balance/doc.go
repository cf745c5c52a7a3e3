// Package balance says which setting of a lever to try next: inside the
// operator's limits, on which rows, for how long, and what it is expected to
// bring (methods document, section h).
//
// What is to be made small is J, what a setting costs: the responses, each
// times its price, or times a weight where there is no money, and what a
// setting costs by itself, such as the hour that speed takes. A response may
// have limits instead of a price, or both. What the lever does to a response
// comes as a try.Curve, which tells differences and no level, so that the blocks
// of a field fall out of it; J is believed to be a quadratic that bends upwards,
// in units of its typical spread. Next weighs each setting in reach by what it
// costs while it is tried and by how much better one will know then.
//
// The quadratic's prior is that of the document for J. For J of several
// responses it is shared out among them in equal parts, so that their sum has
// it. Errors of different responses are taken to be independent.
package balance
