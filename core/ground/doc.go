// Package ground does the geometry of fields without reading or writing
// anything: lines on the WGS 84 ellipsoid, UTM, a flat frame in metres about
// an origin, and polygons in that frame.
//
// Angles at the edges are degrees; azimuths and headings are clockwise from
// north. Inside a Frame east and north are metres.
//
// Sources: Karney 2013, Algorithms for geodesics, J. Geodesy 87:43-55
// (series of order 6); Karney 2011, Transverse Mercator with an accuracy of a
// few nanometers, J. Geodesy 85:475-485 (Krüger's series, here to order 4).
package ground
