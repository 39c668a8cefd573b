//go:build !notzdata

package photo

import _ "time/tzdata" // where the system has no time zone database
