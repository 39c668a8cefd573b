# Holds imports.txt against the arrows that go list finds, one "importer imported" a line:
# awk -f imports.awk imports.txt arrows
FNR == NR {
	if (/^#/ || NF == 0) next
	if (/^(floor|leaves|tools)/) { floor++; kind[floor] = $1; next }
	name = $1
	sub(/:$/, "", name)
	at[name] = floor
	for (i = 2; i <= NF; i++) listed[name " " $i]
	next
}
{
	sub(/^shadowread\//, "", $1)
	sub(/^shadowread\//, "", $2)
	if ($2 ~ /^cmd\//) { wrong($1 " imports the command " $2); next }
	command = $1 ~ /^cmd\//
	sub(/^internal\//, "", $1)
	sub(/^internal\//, "", $2)
	if (!($2 in at)) { wrong("imports.txt does not know " $2); next }
	if (command) next
	if (!($1 in at)) { wrong("imports.txt does not know " $1); next }
	found[$1 " " $2]
	if (!(($1 " " $2) in listed)) wrong($1 " must not import " $2 " (scripts/imports.txt)")
}
END {
	for (arrow in listed) {
		split(arrow, end, " ")
		if (!(arrow in found)) wrong("imports.txt has " arrow ", which is not there")
		if (at[end[2]] > at[end[1]]) wrong(end[1] " imports from a floor above it: " end[2])
		if (kind[at[end[2]]] != "floor" && at[end[1]] != at[end[2]]) wrong(end[2] " is no floor's: " end[1] " must not import it")
	}
	exit failed
}
function wrong(text) { print text; failed = 1 }
