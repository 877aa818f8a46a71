(function () {
  "use strict";
  var sources = document.getElementById("sources-part");
  var opened = [];

  function open(fold) {
    if (fold && fold.tagName === "DETAILS") fold.open = true;
  }
  function follow() { open(document.getElementById(location.hash.slice(1))); }
  window.addEventListener("hashchange", follow);
  follow();

  // On paper stand the sheets of the crew, and what the reader has opened.
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details.crew:not([open])").forEach(function (fold) {
      fold.open = true;
      opened.push(fold);
    });
  });
  window.addEventListener("afterprint", function () {
    opened.splice(0).forEach(function (fold) { fold.open = false; });
    document.body.classList.remove("sources-alone");
  });
  var button = document.getElementById("print-sources");
  button.hidden = false;
  button.addEventListener("click", function () {
    document.body.classList.add("sources-alone");
    sources.open = true;
    window.print();
  });

  var choice = document.getElementById("year-choice");
  if (!choice) return;
  var says = document.getElementById("year-says");
  var sentences = JSON.parse(document.getElementById("year-sentences").textContent);
  function show(year) {
    document.querySelectorAll("[data-year]").forEach(function (part) {
      var own = part.getAttribute("data-year") === year;
      if (part.classList.contains("of-year")) part.classList.toggle("hidden", !own);
      else part.classList.toggle("chosen", own);
    });
    says.textContent = sentences[year];
  }
  choice.addEventListener("change", function (event) { show(event.target.value); });
  choice.parentNode.hidden = false;
  show(choice.querySelector("input:checked").value);
})();
