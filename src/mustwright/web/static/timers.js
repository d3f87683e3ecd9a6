// Timers that run on this device, with or without a network. The end is what is remembered, so that a
// phone that slept shows the right time left. Without this file the form works out the clock times.
"use strict";
(() => {
  const say = wordings.here, local = wordings.locale(document.documentElement.lang);
  const boxes = [...document.querySelectorAll(".timer")];
  const PREFIX = `timer ${location.pathname} `;
  const FORGOTTEN = 12 * 3600 * 1000; // ms after its end
  let sound = null, lock = null;
  const title = document.title;

  const stored = (key) => {
    try {
      return Number(localStorage.getItem(key)) || 0;
    } catch {
      return 0;
    }
  };
  const store = (key, value) => {
    try {
      value ? localStorage.setItem(key, String(value)) : localStorage.removeItem(key);
    } catch {
      // A private window: the timer lives as long as the page.
    }
  };
  const clock = (ms) => new Date(ms).toLocaleTimeString(local, { hour: "2-digit", minute: "2-digit" });

  const ring = () => {
    navigator.vibrate?.([400, 200, 400, 200, 400]);
    if (!sound) return;
    for (const at of [0, 0.5, 1]) {
      const tone = sound.createOscillator(), loud = sound.createGain();
      tone.frequency.value = 880;
      loud.gain.setValueAtTime(0.2, sound.currentTime + at);
      loud.gain.setValueAtTime(0, sound.currentTime + at + 0.3);
      tone.connect(loud).connect(sound.destination);
      tone.start(sound.currentTime + at);
      tone.stop(sound.currentTime + at + 0.35);
    }
  };

  const awake = async () => {
    try {
      lock ??= await navigator.wakeLock?.request("screen");
    } catch {
      lock = null;
    }
  };

  const timers = boxes.map((box) => {
    const key = PREFIX + box.dataset.key, minutes = Number(box.dataset.minutes);
    const button = document.createElement("button"), face = document.createElement("p");
    button.type = "button";
    face.className = "big face";
    face.setAttribute("role", "timer");
    box.append(face, button);
    const timer = { key, name: box.dataset.name, face, button, minutes, ends: stored(key), rung: true };
    if (timer.ends && Date.now() - timer.ends > FORGOTTEN) timer.ends = 0;
    timer.rung = timer.ends <= Date.now();
    button.addEventListener("click", () => {
      const runs = timer.ends > Date.now();
      timer.ends = runs || timer.ends ? 0 : Date.now() + minutes * 60000;
      timer.rung = false;
      store(key, timer.ends);
      sound ??= window.AudioContext ? new AudioContext() : null;
      if (timer.ends) awake();
      draw();
    });
    return timer;
  });

  const draw = () => {
    const now = Date.now();
    let done = "";
    for (const timer of timers) {
      const left = Math.ceil((timer.ends - now) / 1000);
      const { face, button } = timer;
      if (!timer.ends) {
        face.textContent = "";
        button.textContent = say("Start {minutes} minutes", { minutes: timer.minutes });
      } else if (left > 0) {
        face.textContent = say("{left} left, ready at {time}", {
          left: `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`, time: clock(timer.ends) });
        button.textContent = say("Stop");
      } else {
        face.textContent = say("Ready since {time}", { time: clock(timer.ends) });
        button.textContent = say("Clear");
        done = timer.name;
        if (!timer.rung) ring();
        timer.rung = true;
      }
      button.setAttribute("aria-label", `${button.textContent}: ${timer.name}`);
    }
    document.title = done ? say("Ready: {name}", { name: done }) : title;
    if (lock && !timers.some((timer) => timer.ends > now)) {
      lock.release();
      lock = null;
    }
  };

  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible") return;
    lock = null;
    if (timers.some((timer) => timer.ends > Date.now())) awake();
    draw();
  });
  setInterval(draw, 500);
  draw();
})();
