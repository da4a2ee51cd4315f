// The secret stands behind the # of the address, which browsers never send; it moves into the form and out of the history.
"use strict";
const field = document.getElementById("f-secret");
if (field && location.hash.length > 1) {
  field.value = decodeURIComponent(location.hash.slice(1));
  history.replaceState(null, "", location.pathname);
  document.getElementById("f-device").focus();
}
