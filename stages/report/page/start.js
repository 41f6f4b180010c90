// Draws the page, top to bottom.

drawMasthead();
drawChoiceBar();
drawGlance();
drawGrid();
drawCompare();
drawMap();
drawFieldReport();
drawKeys();
prepareFrameView();
document.documentElement.classList.add('drawn');
