// Before anything is drawn: the look chosen on this tablet, so that a dark shed sees no white flash.
{
  let look = null;
  try { look = localStorage.getItem("trayside-look"); } catch { /* storage is switched off: the sun look */ }
  document.documentElement.dataset.look = look === "night" ? "night" : "sun";
}
