/* The components of `lineview/board/components.py`. */
(function () {
  "use strict";
  var React = window.React, make = React.createElement;

  function RawHtml(props) { return make("div", { dangerouslySetInnerHTML: { __html: props.html } }); }

  /* nothing until no closed fold holds its place; from then on what it is given */
  function Lazy(props) {
    var place = React.useRef(null), seen = React.useState(false);
    React.useEffect(function () {
      if (seen[0]) { return undefined; }
      function look() {
        var fold = place.current && place.current.closest("details:not([open])");
        if (fold) { fold.addEventListener("toggle", look, { once: true }); } else { seen[1](true); }
      }
      look();
      return undefined;
    }, [seen[0]]);
    return seen[0] ? props.children : make("span", { ref: place, hidden: true });
  }

  window.lineview_parts = { RawHtml: RawHtml, Lazy: Lazy };
})();
