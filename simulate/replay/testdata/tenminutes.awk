# The ten-minute timer alone, to measure the replay against.
BEGIN { FS = ","; since = -1 }
NR > 1 {
  if ($3 < 1) { since = -1; tripped = 0 }
  else if (since < 0) since = $1
  else if ($1 - since >= 600 && !tripped) { tripped = 1; trips++ }
}
END { print trips }
