// The pages work without this. It lets them be read when the machine cannot be reached, where the browser allows that:
// service workers need an encrypted page or the machine itself (secure contexts, W3C). And it brings the name of the
// open chapter into sight.
"use strict";
if ("serviceWorker" in navigator && window.isSecureContext) {
  navigator.serviceWorker.register("/sw.js").catch(() => {});
}
for (const place of document.querySelectorAll("[data-offline]")) {
  place.hidden = place.dataset.offline !== (("serviceWorker" in navigator && window.isSecureContext) ? "yes" : "no");
}
const here = document.querySelector(".chapters [aria-current]");
if (here) here.closest(".chapters").scrollLeft = here.offsetLeft - 40;
