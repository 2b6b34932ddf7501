package modbus

// crcTable holds, for each byte, what it does to the checksum.
var crcTable = func() (table [256]uint16) {
	for i := range table {
		sum := uint16(i)
		for range 8 {
			odd := sum&1 != 0
			if sum >>= 1; odd {
				sum ^= 0xA001
			}
		}
		table[i] = sum
	}
	return table
}()

// checksum is the CRC of an RTU frame: polynomial 8005 reflected, begun with FFFF
// (serial line guide V1.02, 6.2.2). It goes over the wire low byte first.
func checksum(data []byte) uint16 {
	sum := uint16(0xFFFF)
	for _, b := range data {
		sum = sum>>8 ^ crcTable[byte(sum)^b]
	}
	return sum
}

// sealed reports whether a frame ends with its own checksum.
func sealed(frame []byte) bool {
	body := len(frame) - 2
	sum := checksum(frame[:body])
	return frame[body] == byte(sum) && frame[body+1] == byte(sum>>8)
}

// seal writes the checksum of a frame into its last two bytes.
func seal(frame []byte) {
	body := len(frame) - 2
	sum := checksum(frame[:body])
	frame[body], frame[body+1] = byte(sum), byte(sum>>8)
}
