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

  // A phone shows a drawing whole; a tap shows it large, with its small texts.
  document.querySelectorAll(".enlarge").forEach(function (button) {
    var canvas = button.parentNode.querySelector(".canvas");
    function turn() {
      button.setAttribute("aria-pressed", String(!canvas.classList.toggle("fits")));
    }
    button.hidden = false;
    button.addEventListener("click", turn);
    canvas.addEventListener("click", turn);
    turn();
  });

  var plantings = document.getElementById("choice-choice");
  function pick(number) {
    document.querySelectorAll("[data-choice]").forEach(function (part) {
      part.classList.toggle("hidden", part.getAttribute("data-choice") !== number);
    });
  }
  if (plantings) {
    plantings.addEventListener("change", function (event) { pick(event.target.value); });
    plantings.parentNode.hidden = false;
    pick(plantings.querySelector("input:checked").value);
  }

  var choices = document.querySelectorAll(".year-choice");
  if (!choices.length) return;
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
  choices.forEach(function (choice) {
    choice.parentNode.hidden = false;
    choice.addEventListener("change", function (event) {
      choices.forEach(function (other) {
        other.querySelector("input[value='" + event.target.value + "']").checked = true;
      });
      show(event.target.value);
    });
  });
  show(choices[0].querySelector("input:checked").value);
})();
