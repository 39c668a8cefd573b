package workup

import (
	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// ToGo is the way from an estimated position to a destination.
type ToGo struct {
	// The rhumb line: one course all the way, and its uncertainty by that of the
	// position, one sigma.
	Course, CourseSigma     angle.Angle
	Distance, DistanceSigma geo.Metres
	// The geodesic: the shortest way and the course on which it sets out.
	GeodesicCourse   angle.Angle
	GeodesicDistance geo.Metres
	// Turn is from the present heading to Course, in (-180, 180], positive to the
	// right.
	Turn angle.Angle
	// Within says that the destination lies inside the 95 % ellipse: the course
	// then says nothing, and one had better look round.
	Within bool
}

// Courses returns the way from an estimated position with its covariance to a
// destination, for a vehicle that now heads on a true heading. It fails with code
// "bad_position".
func Courses(from geo.Position, cov Cov, to geo.Position, heading angle.Angle) (ToGo, error) {
	course, distance, err := geo.RhumbInverse(from, to)
	if err != nil {
		return ToGo{}, err
	}
	geodesic, shortest, err := geo.GeodesicInverse(from, to)
	if err != nil {
		return ToGo{}, err
	}
	g := ToGo{
		Course: course, CourseSigma: 180 * angle.Degree,
		Distance: distance, DistanceSigma: cov.Along(course),
		GeodesicCourse: geodesic, GeodesicDistance: shortest,
		Turn:   (course - heading).Signed(),
		Within: distance == 0,
	}
	if distance > 0 {
		m := cov.mahalanobis(Offset{North: distance * geo.Metres(course.Cos()), East: distance * geo.Metres(course.Sin())})
		g.Within = m*m <= chi2At95
		g.CourseSigma = min(g.CourseSigma, angle.Atan2(float64(cov.Along(course+90*angle.Degree)), float64(distance)))
	}
	return g, nil
}
