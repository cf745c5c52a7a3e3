// Package replant weighs what to do with a thin or uneven stand: keep it, fill it
// in, or start over, in money an acre, by every published stand and date table
// that has something to say of it. The tables disagree, and the answer is the
// range over them and over what the counts leave open; the arithmetic of each is
// given step by step. Nothing here says what must be done: an agronomist, the
// insurer and the seed's label have the word before a stand is destroyed.
package replant
