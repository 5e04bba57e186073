// Codes from a scanner that types like a keyboard: keys far faster than fingers, then Enter. And from the camera, where
// the browser can read codes.
const FAST_MS = 60;
const SHORTEST = 3;

// `onCode` gets a whole code; `onKey` gets single keys typed by a person, so that a scan never lands in a mass.
export function listenForScans(target, { onCode, onKey }) {
  let held = [];
  let timer = null;
  const letGo = () => {
    timer = null;
    const keys = held;
    held = [];
    for (const { key } of keys) onKey(key);
  };
  const heard = (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    if (/^(input|textarea|select)$/i.test(event.target.nodeName ?? "")) return;
    const end = event.key === "Enter" || event.key === "Tab";
    if (!end && event.key.length !== 1 && event.key !== "Backspace") return;
    clearTimeout(timer);
    if (end) {
      const code = held.map(({ key }) => key).join("").trim();
      const fast = held.length >= SHORTEST && !held.some(({ key }) => key.length > 1) && event.timeStamp - held[0].at <= FAST_MS * held.length;
      if (fast) {
        event.preventDefault(); // Enter of the scanner must not press the button that has the focus
        event.stopPropagation();
        held = [];
        onCode(code);
        return;
      }
      letGo();
      return;
    }
    if (held.length && event.timeStamp - held.at(-1).at > FAST_MS) letGo();
    held.push({ key: event.key, at: event.timeStamp });
    timer = setTimeout(letGo, FAST_MS);
  };
  target.addEventListener("keydown", heard, { capture: true });
  return () => target.removeEventListener("keydown", heard, { capture: true });
}

export const cameraReads = () => "BarcodeDetector" in globalThis && Boolean(navigator.mediaDevices?.getUserMedia);

// Shows the camera in `place` until a code is read or it is stopped. Rejects when the camera does not open.
export async function scanWithCamera(place, onCode) {
  const offered = await BarcodeDetector.getSupportedFormats();
  const wanted = ["qr_code", "code_128", "data_matrix"].filter((format) => offered.includes(format));
  const detector = new BarcodeDetector({ formats: wanted });
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" }, audio: false });
  const video = document.createElement("video");
  video.setAttribute("playsinline", "");
  video.muted = true;
  video.srcObject = stream;
  place.replaceChildren(video);
  let over = false;
  const stop = () => {
    over = true;
    for (const track of stream.getTracks()) track.stop();
    video.remove();
  };
  await video.play();
  const look = async () => {
    if (over) return;
    const [found] = await detector.detect(video).catch(() => []);
    if (over) return;
    if (found?.rawValue) {
      stop();
      onCode(found.rawValue.trim());
    } else {
      setTimeout(look, 120);
    }
  };
  look();
  return stop;
}
