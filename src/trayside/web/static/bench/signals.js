// OK and STOP for somebody with ear muffs and wet glasses: a big shape, a word, a sound, a buzz. Never colour alone.
import { draw, mark } from "./draw.js";
import { say } from "./words.js";

const OK_MS = 650;
let audio = null;
let soundOn = true;
let hiding = null;

export const setSound = (on) => { soundOn = on; };

function tone(notes) {
  if (!soundOn) return;
  try {
    audio ??= new AudioContext();
    if (audio.state === "suspended") audio.resume();
    let at = audio.currentTime;
    for (const [hertz, seconds, form] of notes) {
      const [source, loud] = [audio.createOscillator(), audio.createGain()];
      source.type = form;
      source.frequency.value = hertz;
      loud.gain.setValueAtTime(0.0001, at);
      loud.gain.exponentialRampToValueAtTime(0.5, at + 0.01);
      loud.gain.setValueAtTime(0.5, at + seconds - 0.03);
      loud.gain.exponentialRampToValueAtTime(0.0001, at + seconds);
      source.connect(loud).connect(audio.destination);
      source.start(at);
      source.stop(at + seconds);
      at += seconds + 0.04;
    }
  } catch { /* no sound on this device: shape and word say it */ }
}

const place = () => document.getElementById("signal");

export function ok(words = "") {
  tone([[660, 0.12, "sine"], [990, 0.18, "sine"]]);
  navigator.vibrate?.(60);
  clearTimeout(hiding);
  place().className = "signal signal-ok";
  place().replaceChildren(mark("ring"), draw("b", {}, say("ok")), draw("span", {}, words));
  hiding = setTimeout(quiet, OK_MS);
}

// Stays until one of its buttons is pressed. `choices` are [words, act]; without any there is one that only closes it.
export function stop({ what, remedy = "", more = null, choices = [] }) {
  tone([[220, 0.28, "square"], [165, 0.28, "square"], [220, 0.28, "square"]]);
  navigator.vibrate?.([220, 90, 220, 90, 220]);
  clearTimeout(hiding);
  const given = choices.length ? choices : [[say("seen"), () => {}]];
  const buttons = given.map(([words, act], at) => draw("button", {
    class: at ? "button" : "button main",
    onclick: () => { quiet(); act(); },
  }, words));
  place().className = "signal signal-stop";
  place().replaceChildren(
    draw("div", { class: "stop-sign" }, mark("octagon"), draw("b", {}, say("stop"))),
    draw("div", { class: "stop-words" }, draw("p", { class: "stop-what" }, what), draw("p", { class: "stop-do" }, remedy), more),
    draw("div", { class: "stop-buttons" }, ...buttons),
  );
  buttons[0].focus();
}

export const stopped = () => place().classList.contains("signal-stop");

export function quiet() {
  clearTimeout(hiding);
  place().className = "";
  place().replaceChildren();
}
