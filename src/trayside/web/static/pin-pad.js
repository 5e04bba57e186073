// The pad types into the PIN field; the field itself stays usable with a keyboard.
const pin = document.getElementById("pin");
document.documentElement.classList.add("script");
if (pin) {
  document.querySelector(".pad").addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.digit && pin.value.length < pin.maxLength) pin.value += button.dataset.digit;
    if ("back" in button.dataset) pin.value = pin.value.slice(0, -1);
    if ("clear" in button.dataset) pin.value = "";
  });
}
