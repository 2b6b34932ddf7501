// The trend of the last 30 min: buckets of [key, lowest, highest]; -1 stands for a reading that was missing or bad.
// Drawn 450 wide (one a bucket) and 300 high; the endpoint is at 200 since full scale is three endpoints.
export class Trend {
  #points = new Map();
  #set = { size: 450, bridge: 7, top: 3 };
  #paths;

  constructor(line, over, off) { this.#paths = { line, over, off }; }

  async load() {
    try {
      const t = await (await fetch('/trend')).json();
      this.#set = t;
      this.#points = new Map([...this.#points.values(), ...t.points].map(p => [p[0], p]));
      this.draw();
    } catch { /* the stream goes on without the past */ }
  }

  add(p) { this.#points.set(p[0], p); }

  draw() {
    const { size, bridge, top } = this.#set;
    const newest = Math.max(...this.#points.keys());
    for (const key of this.#points.keys()) if (key <= newest - size) this.#points.delete(key);
    const y = v => Math.floor(300 * (1 - Math.min(v / top, 1)));
    let line = '', off = '', last = 0;
    for (const [key, lo, hi] of [...this.#points.values()].sort((a, b) => a[0] - b[0])) {
      if (lo < 0) { last = 0; continue; }
      const x = key - newest + size - 1;
      line += `${!last || key - last > bridge ? 'M' : 'L'}${x} ${y(lo)}L${x} ${y(hi)}`;
      if (hi > top) off += `M${x} 0v12`;
      last = key;
    }
    this.#paths.line.setAttribute('d', line);
    this.#paths.over.setAttribute('d', line);
    this.#paths.off.setAttribute('d', off);
  }
}
