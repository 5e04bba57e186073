// Ids of version 7 (RFC 9562): the time first, then chance. They never go back, also when the tablet's clock does.
let lastMs = 0;
let count = 0;

export function uuid7(now = Date.now()) {
  if (now > lastMs) {
    lastMs = now;
    count = crypto.getRandomValues(new Uint16Array(1))[0] & 0x7ff; // room to count on within the same millisecond
  } else if (++count > 0xfff) {
    lastMs += 1;
    count = 0;
  }
  const random = crypto.getRandomValues(new Uint8Array(8));
  random[0] = (random[0] & 0x3f) | 0x80;
  const time = lastMs.toString(16).padStart(12, "0");
  const rest = Array.from(random, (byte) => byte.toString(16).padStart(2, "0")).join("");
  const third = (0x7000 | count).toString(16);
  return `${time.slice(0, 8)}-${time.slice(8)}-${third}-${rest.slice(0, 4)}-${rest.slice(4)}`;
}
