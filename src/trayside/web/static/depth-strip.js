// A click on the depth strip leads to the tray with that depth.
const strip = document.querySelector(".depth-strip");

strip?.addEventListener("click", (event) => {
  if (event.target.closest("a")) return;
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(strip.getScreenCTM().inverse());
  const { bandMm, bandPx, leftPx, plotPx, address } = strip.dataset;
  const along = (at.x - Number(leftPx)) / Number(plotPx);
  if (along < 0 || along > 1) return;
  const depthMm = (Math.floor(at.y / Number(bandPx)) + along) * Number(bandMm);
  location.assign(`${address}?depth=${encodeURIComponent(`${(depthMm / 1000).toFixed(2)} m`)}#found`);
});
