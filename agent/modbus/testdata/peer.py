"""The other end of the interoperation tests on another author's library (pymodbus):
units with odd but legal maps.

    peer.py tcp                 Modbus TCP on a free port of the loopback; prints it
    peer.py rtu+tcp             RTU frames there
    peer.py rtu DEVICE BAUD     RTU on a serial line, without parity (the C library here
                                refuses parity on the pseudo-terminals of a test)

Unit 17: everything is there.
Unit 18: three registers in four are; the rest is refused.
Unit 19: refuses to be asked for more than two registers, or for half a pair.
Unit 20: holding registers only; everything else is refused.
Unit 21: only the last registers there are, 65530 to 65535.
Other units are not there, and nobody answers for them.
"""
import asyncio
import sys

from pymodbus.datastore import ModbusServerContext
from pymodbus.interfaces import IModbusSlaveContext
from pymodbus.server.async_io import ModbusSerialServer, ModbusTcpServer
from pymodbus.transaction import ModbusRtuFramer, ModbusSocketFramer


def everything(function, address, count):
    return address + count <= 65536


def holes(function, address, count):
    return all(a % 4 != 3 for a in range(address, address + count))


def pairs(function, address, count):
    return function not in (3, 4) or (count <= 2 and address % 2 == 0)


def holding(function, address, count):
    return function == 3


def last(function, address, count):
    return address >= 65530 and address + count <= 65536


class Unit(IModbusSlaveContext):
    """One unit: which reads it takes; what they give is the tests' formula."""

    def __init__(self, number, takes):
        self.number, self.takes = number, takes

    def validate(self, function, address, count=1):
        return function <= 4 and self.takes(function, address, count)

    def getValues(self, function, address, count=1):
        values = [(self.number * 4099 + a * 31 + 7) & 0xFFFF for a in range(address, address + count)]
        return [bool(v & 1) for v in values] if function <= 2 else values

    def setValues(self, function, address, values):
        raise RuntimeError("nobody may write")


async def main(args):
    takes = {17: everything, 18: holes, 19: pairs, 20: holding, 21: last}
    units = ModbusServerContext({n: Unit(n, t) for n, t in takes.items()}, single=False)
    if args[0] == "rtu":
        server = ModbusSerialServer(units, framer=ModbusRtuFramer, port=args[1], baudrate=int(args[2]),
                                    parity="N", stopbits=2, bytesize=8, ignore_missing_slaves=True)
        await server.start()
        print("ready", flush=True)
        await server.serve_forever()
        return
    framer = ModbusRtuFramer if args[0] == "rtu+tcp" else ModbusSocketFramer
    server = ModbusTcpServer(units, framer=framer, address=("127.0.0.1", 0), ignore_missing_slaves=True)
    task = asyncio.create_task(server.serve_forever())
    await server.serving
    print(server.server.sockets[0].getsockname()[1], flush=True)
    await task


asyncio.run(main(sys.argv[1:]))
