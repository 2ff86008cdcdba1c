// A comfort only: the page says the same with scripts off.
"use strict";
function unfold() {
  var place = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  for (var node = place; node; node = node.parentElement) {
    if (node.tagName === "DETAILS") { node.open = true; }
  }
  if (place) { place.scrollIntoView(); }
}
addEventListener("hashchange", unfold);
addEventListener("beforeprint", function () {
  document.querySelectorAll("details").forEach(function (item) { item.open = true; });
});
unfold();
